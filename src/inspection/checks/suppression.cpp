#include "inspection/checks/suppression.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>
#include <vector>

#include "quantity/statistics.h"
#include "quantity/text.h"

namespace pinproof::inspection {
namespace {

constexpr double kDiode_V = 3;        // a freewheeling diode holds the coil below this
constexpr double kNoDiode_V = 8;      // above this nothing in the pack clamps it
constexpr double kAtTheEnd = 0.99;    // of the digitiser's range: every voltage looks alike there
constexpr double kClampSpread = 0.1;  // of a clamp: tolerance and current (common practice)

using profile::SuppressionKind;

Interval zener_band(double zener_V) { return {0.8 * zener_V, 1.3 * zener_V + 2}; }

// Just after switch-off, as it is seen in the waveform (a computer that times the pulse is late): a
// diode inside the pack holds the coil near nought.
double off_voltage(const record::PulseCapture& capture, double off_s) {
  std::vector<double> after;
  for (std::size_t k = 0; k < capture.probe_V.size(); ++k) {
    const double t = capture.start_s + static_cast<double>(k) * capture.interval_s - off_s;
    if (t > 0.05e-3 && t < 0.25e-3) after.push_back(-capture.probe_V[k]);
  }
  if (after.empty()) return std::nan("");
  return upper_median_of(std::move(after));
}

std::string expectation(const profile::Suppression& wanted) {
  switch (wanted.kind) {
    case SuppressionKind::diode:
      return "a diode holds it below " + format_si(kDiode_V, Unit::volt, 2);
    case SuppressionKind::zener:
      return "its zener holds it near " + format_si(wanted.zener_V, Unit::volt, 2);
    case SuppressionKind::none:
      break;
  }
  return "nothing in the pack may hold it below " + format_si(kNoDiode_V, Unit::volt, 2);
}

// What proves the wanted suppression.
Interval band_of(const profile::Suppression& wanted) {
  if (wanted.kind == SuppressionKind::zener) return zener_band(wanted.zener_V);
  if (wanted.kind == SuppressionKind::diode) return {-kDiode_V, kDiode_V};
  return {kDiode_V, std::numeric_limits<double>::infinity()};
}

// Where every voltage looks alike; a range that ends beyond the band still shows what is beyond it.
bool is_clipped(const profile::Suppression& wanted, double volt, double clip_V) {
  const double end = kAtTheEnd * clip_V;
  return wanted.kind == SuppressionKind::zener && clip_V > 0 && volt >= end &&
         end < band_of(wanted).high;
}

// The bench's clamp holds a coil whether or not the pack does: at its voltage nobody knows which of
// them did, and in a band that it lies in nothing is proven.
bool is_hidden(const profile::Suppression& wanted, double volt, double clamp_V) {
  const Interval band = band_of(wanted);
  if (!(clamp_V > 0) || volt >= band.high) return false;
  const double least = (1 - kClampSpread) * clamp_V, most = (1 + kClampSpread) * clamp_V;
  // Nothing in the pack is wanted: a clamp above what a diode leaves proves just that.
  if (wanted.kind == SuppressionKind::none) return volt < kDiode_V && volt >= least;
  return volt >= least || (volt > band.low && least < band.high && most > band.low);
}

}  // namespace

SuppressionSeen suppression_seen(const profile::Suppression& wanted,
                                 const record::PulseCapture& capture, double off_s,
                                 double bench_clamp_V) {
  SuppressionSeen out;
  const double volt = off_voltage(capture, off_s);
  out.diode = volt < kDiode_V;
  // Far below nought the coil is still driven: that proves nothing.
  const bool driven = volt < -kDiode_V;
  const bool clear = !driven && (out.diode || volt > kNoDiode_V);
  const bool clipped = is_clipped(wanted, volt, capture.clip_V);
  const bool hidden = is_hidden(wanted, volt, bench_clamp_V);
  out.text = "the coil falls to " + format_si(volt, Unit::volt, 3) + "; " + expectation(wanted);
  if (clipped) out.text += ", but the digitiser's range ends there";
  if (hidden)
    out.text +=
        ", but the bench's own clamp of " + format_si(bench_clamp_V, Unit::volt, 3) + " may do so";
  if (!std::isfinite(volt) || !clear || clipped || hidden) return out;
  const Interval band = band_of(wanted);
  out.outcome = band.low < volt && volt < band.high ? Outcome::pass : Outcome::fail;
  return out;
}

Voltage probe_range(const profile::Suppression& wanted) {
  constexpr Voltage kUsual{45};
  if (wanted.kind != SuppressionKind::zener) return kUsual;
  return std::max(kUsual, Voltage{1.1 * zener_band(wanted.zener_V).high});
}

}  // namespace pinproof::inspection
