#include "inspection/checks/suppression.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "quantity/text.h"

namespace pinproof::inspection {
namespace {

constexpr double kDiode_V = 3;      // a freewheeling diode holds the coil below this
constexpr double kNoDiode_V = 8;    // above this nothing in the pack clamps it
constexpr double kAtTheEnd = 0.99;  // of the digitiser's range: every voltage looks alike there

using Kind = profile::Suppression::Kind;

Interval zener_band(double zener_V) { return {0.8 * zener_V, 1.3 * zener_V + 2}; }

// Just after switch-off, as it is seen in the waveform (a computer that times the pulse is late): a
// diode inside the pack holds the coil near nought.
double off_voltage(const record::Capture& capture, double off_s) {
  std::vector<double> after;
  for (std::size_t k = 0; k < capture.probe_V.size(); ++k) {
    const double t = capture.start_s + static_cast<double>(k) * capture.interval_s - off_s;
    if (t > 0.05e-3 && t < 0.25e-3) after.push_back(-capture.probe_V[k]);
  }
  if (after.empty()) return std::nan("");
  std::nth_element(after.begin(), after.begin() + static_cast<std::ptrdiff_t>(after.size() / 2),
                   after.end());
  return after[after.size() / 2];
}

std::string expectation(const profile::Suppression& wanted) {
  switch (wanted.kind) {
    case Kind::diode:
      return "a diode holds it below " + format_si(kDiode_V, Unit::volt, 2);
    case Kind::zener:
      return "its zener holds it near " + format_si(wanted.zener_V, Unit::volt, 2);
    case Kind::none:
      break;
  }
  return "nothing in the pack may hold it below " + format_si(kNoDiode_V, Unit::volt, 2);
}

bool is_right(const profile::Suppression& wanted, double volt, bool diode) {
  if (wanted.kind == Kind::diode) return diode;
  const Interval band = zener_band(wanted.zener_V);
  return wanted.kind == Kind::zener ? band.low < volt && volt < band.high : !diode;
}

}  // namespace

SuppressionSeen suppression_seen(const profile::Suppression& wanted, const record::Capture& capture,
                                 double off_s) {
  SuppressionSeen out;
  const double volt = off_voltage(capture, off_s);
  out.diode = volt < kDiode_V;
  // Far below nought the coil is still driven: that proves nothing.
  const bool driven = volt < -kDiode_V;
  const bool clear = !driven && (out.diode || volt > kNoDiode_V);
  const bool clipped =
      wanted.kind == Kind::zener && capture.clip_V > 0 && !(volt < kAtTheEnd * capture.clip_V);
  out.text = "the coil falls to " + format_si(volt, Unit::volt, 3) + "; " + expectation(wanted);
  if (clipped) out.text += ", but the digitiser's range ends there";
  if (!std::isfinite(volt) || !clear || clipped) return out;
  out.outcome = is_right(wanted, volt, out.diode) ? Outcome::pass : Outcome::fail;
  return out;
}

double probe_range(const profile::Suppression& wanted) {
  constexpr double kUsual_V = 45;
  if (wanted.kind != Kind::zener) return kUsual_V;
  return std::max(kUsual_V, 1.1 * zener_band(wanted.zener_V).high);
}

}  // namespace pinproof::inspection
