#include "waveform/margin.h"

#include <cmath>

namespace pinproof::waveform {

Margin margin_at(const CoilFigures& f, double lowest_V, const Estimate& hot_ratio) {
  Margin out;
  if (f.status != Status::ok || !f.resistance_ohm.usable())
    out.reason = "the capture gives no resistance";
  else if (!f.needed_current_A.usable() || !(f.needed_current_A.value > 0))
    out.reason = f.plunger == Plunger::no_motion_seen
                     ? "the plunger did not move even now"
                     : "the current that frees the plunger was not seen";
  if (!out.reason.empty()) return out;
  const double r = f.resistance_ohm.value, ru = f.resistance_ohm.u / r;
  const double hot = lowest_V / (r * hot_ratio.value);
  const double hot_u = std::hypot(ru, hot_ratio.u / hot_ratio.value);
  const double need = f.needed_current_A.value, need_u = f.needed_current_A.u / need;
  out.hot_current_A = {hot, hot * hot_u};
  out.needed_current_A = f.needed_current_A;
  out.margin = {hot / need - 1, hot / need * std::hypot(hot_u, need_u)};
  const double ends = lowest_V / (r * need);
  out.ends_at_ratio = {ends, ends * std::hypot(ru, need_u)};
  return out;
}

}  // namespace pinproof::waveform
