#include <array>

#include "inspection/checks/check.h"

namespace pinproof::inspection {

// The one table of checks, in the order of the report.
std::span<const CheckKind* const> check_kinds() {
  static constexpr std::array kKinds{&kBenchCheck, &kTemperature,   &kWires,      &kCoilResistance,
                                     &kMatchedSet, &kCoilsTogether, &kInsulation, &kSwitches,
                                     &kLeverTable, &kThermistor,    &kOtherParts, &kCoilDrive,
                                     &kDriveBench, &kHotMargin,     &kLikeness,   &kGearLoad};
  return kKinds;
}

}  // namespace pinproof::inspection
