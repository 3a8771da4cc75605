#include "diagnosis/suspect.h"

#include <array>

namespace pinproof::diagnosis {

std::span<const SuspectKind* const> suspect_kinds() {
  static constexpr std::array kKinds{&kCoilFaults,       &kWireFaults, &kContactFaults,
                                     &kThermistorFaults, &kBridges,    &kOpenPins,
                                     &kWrongOrder,       &kWater};
  return kKinds;
}

std::vector<Suspect> suspects_of(const network::Model& model) {
  std::vector<Suspect> out;
  for (const SuspectKind* kind : suspect_kinds()) kind->add(model, out);
  return out;
}

}  // namespace pinproof::diagnosis
