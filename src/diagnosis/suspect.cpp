#include "diagnosis/suspect.h"

#include <array>
#include <map>

#include "diagnosis/scene.h"
#include "profile/harness.h"

namespace pinproof::diagnosis {

std::span<const SuspectKind* const> suspect_kinds() {
  static constexpr std::array kKinds{&kCoilFaults,       &kWireFaults, &kContactFaults,
                                     &kThermistorFaults, &kBridges,    &kOpenPins,
                                     &kWrongOrder,       &kWater};
  return kKinds;
}

void merge_alike(const network::Model& model, std::vector<Suspect>& suspects);

namespace {

// On which side of the connector somebody has to work.
std::string where_of(const profile::Profile& profile, const Suspect& suspect) {
  const profile::Part* part = profile.find_part(suspect.part);
  if (part && part->mate) return "at the connector: ";
  if (suspect.kind == "contaminated-connector" || suspect.nodes.empty())
    return "at the connector: ";
  return profile::side_of(profile, suspect.nodes.front()) == profile::Side::pack ? "pack: "
                                                                                 : "harness: ";
}

}  // namespace

std::vector<Suspect> suspects_of(const network::Model& model) {
  std::vector<Suspect> out;
  for (const SuspectKind* kind : suspect_kinds()) kind->add(model, out);
  merge_alike(model, out);
  if (model.profile().harness_pins > 0)
    for (Suspect& suspect : out) suspect.where = where_of(model.profile(), suspect);
  return out;
}

namespace {

// What the terminals show of a pack whose pins are out of order, in every lever position and with
// air at everything: equal for two orders that differ in equal parts only.
std::vector<float> face_of(const network::Model& model, const Suspect& order,
                           const std::vector<network::GoodPack>& good) {
  std::vector<std::size_t> from(model.nodes());
  for (std::size_t i = 0; i < from.size(); ++i) from[i] = i;
  for (const auto& [here, belongs] : order.moved) from[here] = belongs;
  std::vector<float> out;
  for (const network::GoodPack& one : good)
    for (std::size_t a = 0; a < model.terminals(); ++a)
      for (std::size_t b = 0; b < a; ++b) {
        const double ohm = one.resistances(from[a], from[b]);
        out.push_back(ohm > model.profile().insulation_ohm ? INFINITY : static_cast<float>(ohm));
      }
  return out;
}

}  // namespace

void merge_alike(const network::Model& model, std::vector<Suspect>& suspects) {
  std::vector<network::GoodPack> good;
  for (const auto& situation : usual_situations(model.profile()))
    good.push_back(model.good(situation));
  std::map<std::vector<float>, std::size_t> first;
  std::vector<Suspect> kept;
  for (Suspect& suspect : suspects) {
    if (suspect.moved.empty() || !suspect.edits.empty()) {
      kept.push_back(std::move(suspect));
      continue;
    }
    const auto [it, fresh] = first.try_emplace(face_of(model, suspect, good), kept.size());
    if (fresh) {
      kept.push_back(std::move(suspect));
    } else {
      kept[it->second].alike.push_back(suspect.text);
      kept[it->second].rate += suspect.rate;
    }
  }
  suspects = std::move(kept);
}

}  // namespace pinproof::diagnosis
