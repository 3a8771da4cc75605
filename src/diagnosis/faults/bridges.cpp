// Any two terminals joined or leaking: solder, debris, chafed wires, wet insulation.
#include <algorithm>

#include "diagnosis/faults/common.h"
#include "profile/harness.h"

namespace pinproof::diagnosis {
namespace {

// Where a part lies between the two already, a bridge is that part's own fault; beside an open
// contact there can still be a leak.
enum class Between { nothing, contact, part };
Between between(const network::Model& model, const std::string& a, const std::string& b) {
  Between out = Between::nothing;
  for (const profile::Part& part : model.profile().parts) {
    const auto ends = nodes_of(model, part);
    if (ends.size() != 2 || !((ends[0] == a && ends[1] == b) || (ends[0] == b && ends[1] == a)))
      continue;
    if (!part.contact() && !part.pressure_switch()) return Between::part;
    out = Between::contact;
  }
  return out;
}

// Wires of a harness touch each other or the body, not the pack's inside.
bool can_touch(const network::Model& model, const std::string& a, const std::string& b) {
  return b == profile::kCase ||
         profile::side_of(model.profile(), a) == profile::side_of(model.profile(), b);
}

bool neighbours(const profile::Profile& profile, const std::string& a, const std::string& b) {
  for (const auto& row : profile.connector.face)
    for (std::size_t i = 1; i < row.size(); ++i)
      if ((row[i - 1] == a && row[i] == b) || (row[i - 1] == b && row[i] == a)) return true;
  return false;
}

// The pin that a wire alone joins to another terminal: bridges to either are one.
bool is_wired_to(const network::Model& model, const std::string& node, std::string& other) {
  for (const profile::Part& part : model.profile().parts) {
    if (!part.wire() || part.mate) continue;
    for (const std::size_t end : {std::size_t{0}, std::size_t{1}})
      if (part.between[end] == node && model.profile().is_pin(node) &&
          (part.between[1 - end] == profile::kCase ||
           model.profile().is_pin(part.between[1 - end])))
        return other = part.between[1 - end], true;
  }
  return false;
}

void add(const network::Model& model, std::vector<Suspect>& out) {
  const network::Resistances good = model.good({}).resistances;
  std::string wired;
  std::vector<std::string> also(model.terminals());
  std::vector<bool> double_name(model.terminals(), false);
  for (std::size_t a = 0; a < model.terminals(); ++a)
    if (is_wired_to(model, model.name(a), wired)) {
      // The case keeps its name, and of two pins the first.
      const std::size_t other = *model.find(wired);
      if (wired == profile::kCase || other < a) double_name[a] = true, also[other] = model.name(a);
    }
  for (std::size_t a = 0; a < model.terminals(); ++a)
    for (std::size_t b = a + 1; b < model.terminals(); ++b) {
      const Between what = between(model, model.name(a), model.name(b));
      if (double_name[a] || double_name[b] || what == Between::part ||
          !can_touch(model, model.name(a), model.name(b)))
        continue;
      Suspect s;
      s.kind = "bridge", s.part = model.name(a), s.nodes = {model.name(a), model.name(b)};
      s.renamed_above = kLeak_ohm, s.renamed = "leak";
      s.text = pins_text(s.nodes) + (also[b].empty() ? "" : " or pin " + also[b]) +
               " are bridged or leak into each other";
      s.edits = {network::bridge(a, b)};
      s.size = kBridgeSizes;
      // Beside a good path of a few ohms a leak of many is no fault.
      const double path = good(a, b);
      if (path < 1e4) s.size.high = 10 * path;
      s.stated = {0.05, path < 1e4 ? path : 50e3};
      if (path < 1) s.stated.pop_back();
      if (what == Between::contact) {
        s.kind = "leak", s.size = {kLeak_ohm, kBridgeSizes.high}, s.stated = {50e3};
        s.text = pins_text(s.nodes) + (also[b].empty() ? "" : " or pin " + also[b]) +
                 " leak into each other";
      }
      const bool to_case = s.nodes[1] == profile::kCase;
      s.rate = to_case ? 0.5 : neighbours(model.profile(), s.nodes[0], s.nodes[1]) ? 0.3 : 0.05;
      out.push_back(std::move(s));
    }
}

}  // namespace

const SuspectKind kBridges{"bridges", add};

}  // namespace pinproof::diagnosis
