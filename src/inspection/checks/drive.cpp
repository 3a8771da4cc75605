#include "inspection/checks/drive.h"

#include <algorithm>

#include "quantity/text.h"

namespace pinproof::inspection {
namespace {

constexpr double kLimitOverNominal =
    1.25;                              // room for shorted turns to show as current, not as a limit
constexpr double kBudgetShare = 0.97;  // keeps the low-limit coil off the current limit
constexpr double kShort = 0.5;         // of the low limit: below this nobody drives it

}  // namespace

DriveLimits drive_limits(const profile::Profile& profile, const profile::Part& coil,
                         const Capabilities& can) {
  const Current most{std::min(coil.coil()->energy.max_current_A, can.supply_max_A)};
  const Resistance low{coil.coil()->resistance_ohm.low};
  DriveLimits out;
  out.voltage =
      std::min({Voltage{profile.supply_V}, kBudgetShare * most * low, Voltage{can.supply_max_V}});
  out.limit = std::min(most, kLimitOverNominal * out.voltage / low);
  return out;
}

std::optional<bench::Connection> drive_terminals(const profile::Profile& profile,
                                                 const profile::Part& coil) {
  const auto leads = network::leads_of(profile, coil);
  if (!leads) return std::nullopt;
  return bench::Connection{{leads->from}, {leads->to}};
}

std::optional<std::string> unsafe_to_drive(const profile::Profile& profile,
                                           const record::Record& record,
                                           const std::vector<std::string>& coils) {
  for (const std::string& name : coils) {
    const auto* reading = record::last_reading(record, {"coil-resistance", name, ""});
    if (!reading) return "coil " + name + " has no resistance reading";
    if (reading->overload) return "coil " + name + " is open";
    const Resistance low{profile.find_part(name)->coil()->resistance_ohm.low};
    if (!(reading->ohm() > kShort * low))
      return "coil " + name + " reads " + format_si(reading->ohm().si(), Unit::ohm) +
             ": too low to be energised safely";
  }
  return std::nullopt;
}

}  // namespace pinproof::inspection
