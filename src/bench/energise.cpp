#include "bench/energise.h"

#include <algorithm>
#include <cmath>

#include "quantity/error.h"
#include "quantity/text.h"

namespace pinproof::bench {
namespace {

constexpr double kTimeConstants = 3;  // of cooling in the rest after a full pulse
constexpr double kConductor_A = 2;    // through a wire or a contact without a coil
constexpr double kConductor_s = 0.5;
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

void Energising::prepare(const std::vector<const profile::Part*>& coils, double pulse_s,
                         double limit_A) {
  double most_A = 0;
  double ready_s = now_s_();
  for (const profile::Part* part : coils) {
    const profile::Energy& energy = part->coil()->energy;
    most_A += energy.max_current_A;
    if (!(pulse_s > 0 && pulse_s <= energy.max_pulse_s))
      throw Error(Fault::bench, "coil " + part->name + ": a pulse of " +
                                    format_si(pulse_s, Unit::second) +
                                    " was asked for; its budget is " +
                                    format_si(energy.max_pulse_s, Unit::second));
    // After a full pulse and its rest 5 % are left, which is taken as none.
    const double room = std::max(1 + kLeft - pulse_s / energy.max_pulse_s, kLeft);
    if (const double share = share_of(part->name, now_s_()); share > room)
      ready_s = std::max(ready_s,
                         now_s_() + heat_.at(part->name).time_constant_s * std::log(share / room));
    if (const auto it = rested_at_s_.find(part->name); it != rested_at_s_.end())
      ready_s = std::max(ready_s, it->second);
  }
  if (!(limit_A > 0 && limit_A <= most_A * (1 + 1e-9)))
    throw Error(Fault::bench, "a current limit of " + format_si(limit_A, Unit::ampere) +
                                  " was asked for; the coils may have " +
                                  format_si(most_A, Unit::ampere));
  if (const double wait_s = ready_s - now_s_(); wait_s > 0) wait_(wait_s);
}

void Energising::prepare_conductor(double pulse_s, double limit_A) {
  if (!(pulse_s > 0 && pulse_s <= kConductor_s) || !(limit_A > 0 && limit_A <= kConductor_A))
    throw Error(Fault::bench, "a pulse of " + format_si(pulse_s, Unit::second) + " at " +
                                  format_si(limit_A, Unit::ampere) +
                                  " through a bare conductor was asked for; it may have " +
                                  format_si(kConductor_s, Unit::second) + " at " +
                                  format_si(kConductor_A, Unit::ampere));
}

void Energising::pulsed(const std::vector<const profile::Part*>& coils, double pulse_s) {
  for (const profile::Part* part : coils) {
    const profile::Energy& energy = part->coil()->energy;
    const double share = share_of(part->name, now_s_()) + pulse_s / energy.max_pulse_s;
    heat_[part->name] = {share, now_s_(), energy.rest_s / kTimeConstants};
    rested_at_s_[part->name] = now_s_() + energy.rest_s * pulse_s / energy.max_pulse_s;
  }
}

}  // namespace pinproof::bench
