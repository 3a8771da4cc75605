// What the figures' enumerators are called.
#include "waveform/coil_figures.h"

namespace pinproof::waveform {

std::string_view text_of(Status status) {
  switch (status) {
    case Status::ok:
      return "";
    case Status::not_finite:
      return "a sample is not a number";
    case Status::too_short:
      return "too short: the current has not settled before the end of the pulse";
    case Status::no_step:
      return "no switch-on seen";
    case Status::slow_step:
      return "the voltage rises too slowly or in several steps: the switch must close within 0.3 "
             "ms";
    case Status::late_start:
      return "switched on before the first sample: record some time before the trigger";
    case Status::no_current:
      return "voltage was applied and no current flowed: the circuit is open";
    case Status::wrong_polarity:
      return "voltage or current is negative: check the leads and the probe's direction";
    case Status::clipped:
      return "clipped: the signal went beyond the range of the instrument";
    case Status::two_steps:
      return "switched on more than once in this capture: keep one pulse";
    case Status::swapped:
      return "the current is there before the voltage: the two columns are exchanged";
    case Status::no_voltage:
      return "no voltage channel and no supply voltage given";
    case Status::disturbed:
      return "samples were lost or came twice, or a burst of noise fell in: capture it again";
  }
  return "";
}

std::string_view name_of(Plunger plunger) {
  switch (plunger) {
    case Plunger::moved:
      return "moved";
    case Plunger::no_motion_seen:
      return "no-motion-seen";
    case Plunger::not_judged:
      break;
  }
  return "not-judged";
}

std::string_view name_of(SeenSuppression suppression) {
  switch (suppression) {
    case SeenSuppression::diode:
      return "diode";
    case SeenSuppression::zener:
      return "zener";
    case SeenSuppression::none:
      return "none";
    case SeenSuppression::not_judged:
      break;
  }
  return "not-judged";
}

}  // namespace pinproof::waveform
