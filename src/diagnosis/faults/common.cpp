#include "diagnosis/faults/common.h"

#include "network/reach.h"

namespace pinproof::diagnosis {

std::vector<std::string> nodes_of(const network::Model& model, const profile::Part& part) {
  const auto leads = network::leads_of(model.profile(), part);
  if (!leads) return {};
  return {leads->from, leads->to};
}

std::vector<const profile::Part*> parts_at(const profile::Profile& profile,
                                           const std::string& node) {
  std::vector<const profile::Part*> out;
  for (const profile::Part& part : profile.parts)
    if (part.between[0] == node || part.between[1] == node) out.push_back(&part);
  return out;
}

std::string or_its_pins(const network::Model& model, const profile::Part& part) {
  std::string out;
  for (const std::string& end : part.between)
    if (model.profile().is_pin(end) && parts_at(model.profile(), end).size() == 1)
      out += ", or pin " + end + " or its wire";
  return out;
}

std::string pins_text(const std::vector<std::string>& nodes) {
  std::string out;
  for (const std::string& node : nodes) {
    if (!out.empty()) out += " and ";
    out += node == profile::kCase ? "the case" : (out.empty() ? "pin " : "") + node;
  }
  return out;
}

}  // namespace pinproof::diagnosis
