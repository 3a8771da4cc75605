#include "inspection/checks/coil_expected.h"

#include <cmath>

#include "metrology/copper.h"

namespace pinproof::inspection {
namespace {

constexpr Estimate kWorkshop{23, 10};

Estimate middle_of(const Interval& limit, double scale) {
  if (!std::isfinite(limit.low) || !std::isfinite(limit.high)) return {std::nan(""), std::nan("")};
  const double middle = limit.middle();
  return {std::log(middle * scale), (limit.high - limit.low) / 4 / middle};
}

waveform::SeenSuppression seen_as(profile::SuppressionKind kind) {
  switch (kind) {
    case profile::SuppressionKind::diode:
      return waveform::SeenSuppression::diode;
    case profile::SuppressionKind::zener:
      return waveform::SeenSuppression::zener;
    case profile::SuppressionKind::none:
      break;
  }
  // What clamps a bare coil is the bench's switch, which the profile does not know.
  return waveform::SeenSuppression::not_judged;
}

}  // namespace

waveform::ExpectedTraits expected_of(const profile::Coil& coil) {
  using waveform::Trait;
  waveform::ExpectedTraits out;

  out.traits[Trait::resistance] =
      middle_of(coil.resistance_ohm, 1 / metrology::copper_ratio(coil.resistance_celsius, 20));
  if (coil.inductance_H) out.traits[Trait::inductance] = middle_of(*coil.inductance_H, 1);
  out.suppression = seen_as(coil.suppression.kind);
  out.clamp_V =
      coil.suppression.kind == profile::SuppressionKind::zener ? coil.suppression.zener_V : 0.7;
  return out;
}

bool are_equal(const profile::Part& a, const profile::Part& b) {
  constexpr double kAlike = 0.05;
  if (!a.coil() || !b.coil() || a.coil()->coil_class != b.coil()->coil_class) return false;
  const double one = a.coil()->resistance_ohm.middle(), other = b.coil()->resistance_ohm.middle();
  return std::abs(one - other) <= kAlike * std::max(one, other);
}

Estimate copper_ratio_of(const std::optional<Estimate>& celsius) {
  const Estimate t = celsius.value_or(kWorkshop);
  const double ratio = metrology::copper_ratio(t.value, 20);
  return {ratio, t.u / (metrology::kCopperInferredZero + 20)};
}

waveform::AnalysisOptions analysis_options(const profile::Coil& coil,
                                           const record::PulseCapture& capture) {
  waveform::AnalysisOptions options;
  options.coil_class = coil.coil_class == profile::CoilClass::variable
                           ? waveform::PlungerAction::variable
                           : waveform::PlungerAction::on_off;
  options.limit_A = capture.limit_A;
  options.voltage_gain_u = capture.voltage_gain_u;
  options.voltage_offset_u = capture.voltage_offset_u;
  options.current_gain_u = capture.current_gain_u;
  options.current_offset_u = capture.current_offset_u;
  options.clip_A = capture.clip_A;
  options.clip_V = capture.clip_V;
  return options;
}

waveform::Capture samples_of(const record::PulseCapture& capture) {
  return {capture.start_s, capture.interval_s, capture.current_A, capture.probe_V};
}

}  // namespace pinproof::inspection
