#include "bench/energise.h"

#include <algorithm>
#include <cmath>

#include "quantity/error.h"
#include "quantity/text.h"

namespace pinproof::bench {
namespace {

constexpr double kTimeConstants = 3;  // of cooling in the rest after a full pulse
constexpr Current kConductor{2};      // through a wire or a contact without a coil
constexpr Duration kConductorPulse{0.5};
constexpr double kLeft = 0.06;  // exp(-3) and a little

}  // namespace

OutputOff::~OutputOff() {
  if (done_) return;
  try {
    supply_.off();
  } catch (const Error&) {  // the error that brought us here is already on its way up
  }
}

void OutputOff::now() {
  supply_.off();
  done_ = true;
}

double Energising::share_of(const std::string& coil, double at_s) const {
  const auto it = heat_.find(coil);
  if (it == heat_.end()) return 0;
  const Heat& heat = it->second;
  if (!(heat.time_constant_s > 0)) return 0;
  return heat.share * std::exp(-(at_s - heat.at_s) / heat.time_constant_s);
}

void Energising::prepare(const std::vector<const profile::Part*>& coils, Duration pulse,
                         Current limit) {
  Current most;
  double ready_s = now_s_();
  for (const profile::Part* part : coils) {
    const profile::EnergyBudget& energy = part->coil()->energy;
    const Duration longest{energy.max_pulse_s};
    most += Current{energy.max_current_A};
    if (!(pulse > Duration{0} && pulse <= longest))
      throw Error(Fault::bench,
                  "coil " + part->name + ": a pulse of " + format_si(pulse.si(), Unit::second) +
                      " was asked for; its budget is " + format_si(longest.si(), Unit::second));
    // After a full pulse and its rest 5 % are left, which is taken as none.
    const double room = std::max(1 + kLeft - pulse / longest, kLeft);
    if (const double share = share_of(part->name, now_s_()); share > room)
      ready_s = std::max(ready_s,
                         now_s_() + heat_.at(part->name).time_constant_s * std::log(share / room));
    if (const auto it = rested_at_s_.find(part->name); it != rested_at_s_.end())
      ready_s = std::max(ready_s, it->second);
  }
  if (!(limit > Current{0} && limit <= most * (1 + 1e-9)))
    throw Error(Fault::bench, "a current limit of " + format_si(limit.si(), Unit::ampere) +
                                  " was asked for; the coils may have " +
                                  format_si(most.si(), Unit::ampere));
  if (const double wait_s = ready_s - now_s_(); wait_s > 0) wait_(wait_s);
}

void Energising::prepare_conductor(Duration pulse, Current limit) {
  if (!(pulse > Duration{0} && pulse <= kConductorPulse) ||
      !(limit > Current{0} && limit <= kConductor))
    throw Error(Fault::bench, "a pulse of " + format_si(pulse.si(), Unit::second) + " at " +
                                  format_si(limit.si(), Unit::ampere) +
                                  " through a bare conductor was asked for; it may have " +
                                  format_si(kConductorPulse.si(), Unit::second) + " at " +
                                  format_si(kConductor.si(), Unit::ampere));
}

void Energising::pulsed(const std::vector<const profile::Part*>& coils, Duration pulse) {
  for (const profile::Part* part : coils) {
    const profile::EnergyBudget& energy = part->coil()->energy;
    const double share = share_of(part->name, now_s_()) + pulse.si() / energy.max_pulse_s;
    heat_[part->name] = {share, now_s_(), energy.rest_s / kTimeConstants};
    rested_at_s_[part->name] = now_s_() + energy.rest_s * pulse.si() / energy.max_pulse_s;
  }
}

}  // namespace pinproof::bench
