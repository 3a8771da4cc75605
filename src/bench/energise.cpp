#include "bench/energise.h"

#include <algorithm>

#include "quantity/error.h"
#include "quantity/text.h"

namespace pinproof::bench {

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

void Energising::prepare(const std::vector<const profile::Part*>& coils, double pulse_s,
                         double limit_A) {
  double most_A = 0;
  double ready_s = now_s_();
  for (const profile::Part* part : coils) {
    const profile::Energy& energy = part->coil->energy;
    most_A += energy.max_current_A;
    if (!(pulse_s > 0 && pulse_s <= energy.max_pulse_s))
      throw Error(Fault::bench, "coil " + part->name + ": a pulse of " +
                                    format_si(pulse_s, Unit::second) +
                                    " was asked for; its budget is " +
                                    format_si(energy.max_pulse_s, Unit::second));
    if (const auto it = rested_at_s_.find(part->name); it != rested_at_s_.end())
      ready_s = std::max(ready_s, it->second);
  }
  if (!(limit_A > 0 && limit_A <= most_A * (1 + 1e-9)))
    throw Error(Fault::bench, "a current limit of " + format_si(limit_A, Unit::ampere) +
                                  " was asked for; the coils may have " +
                                  format_si(most_A, Unit::ampere));
  if (const double wait_s = ready_s - now_s_(); wait_s > 0) wait_(wait_s);
}

void Energising::pulsed(const std::vector<const profile::Part*>& coils, double pulse_s) {
  for (const profile::Part* part : coils) {
    const profile::Energy& energy = part->coil->energy;
    rested_at_s_[part->name] = now_s_() + energy.rest_s * pulse_s / energy.max_pulse_s;
  }
}

}  // namespace pinproof::bench
