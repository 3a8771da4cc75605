#include "waveform/traits.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

#include "waveform/signal.h"

namespace pinproof::waveform {
namespace {

constexpr std::array<double, kTraits> kUsualSpread{0.01, 0.025, 0.06, 0.02, 0.05, 0.10};
constexpr double kPriorWeight = 4;  // captures

Estimate logarithm(const Estimate& x) {
  if (!x.usable() || !(x.value > 0)) return {std::nan(""), std::nan("")};
  return {std::log(x.value), x.u / x.value};
}

Estimate eddy_conductance(const CoilFigures& f) {
  if (!f.eddy_fraction.usable() || !f.resistance_ohm.usable()) return {std::nan(""), std::nan("")};
  const double a = f.eddy_fraction.value, r = f.resistance_ohm.value;
  if (!(a < 1)) return {std::nan(""), std::nan("")};
  const double g = (1 - a) / (a * r);
  return {g, g * std::hypot(f.eddy_fraction.u / (a * (1 - a)), f.resistance_ohm.u / r)};
}

Estimate travel_time(const CoilFigures& f) {
  if (!f.travel_begin || !(f.pull_in || f.travel_end)) return {std::nan(""), std::nan("")};
  const CurrentEvent& end = f.pull_in ? *f.pull_in : *f.travel_end;
  return {end.at_s - f.travel_begin->at_s, std::hypot(end.u_s, f.travel_begin->u_s)};
}

}  // namespace

std::string_view name_of(Trait trait) {
  constexpr std::array<std::string_view, kTraits> kNames{"resistance at 20 °C",
                                                         "inductance at rest",
                                                         "eddy path",
                                                         "growth of inductance",
                                                         "current at the begin of travel",
                                                         "time of travel"};
  return kNames[static_cast<std::size_t>(trait)];
}

Traits traits_of(const CoilFigures& f, const Estimate& copper_ratio) {
  Traits out;
  out[Trait::resistance] = logarithm(f.resistance_ohm);
  out[Trait::resistance].value -= std::log(copper_ratio.value);
  out[Trait::resistance].u =
      std::hypot(out[Trait::resistance].u, copper_ratio.u / copper_ratio.value);
  out[Trait::inductance] = logarithm(f.inductance_H);
  out[Trait::eddy] = logarithm(eddy_conductance(f));
  out[Trait::growth] = logarithm(f.inductance_growth);
  out[Trait::begin_current] = logarithm(f.begin_current_A);
  out[Trait::travel_time] = logarithm(travel_time(f));
  return out;
}

ExpectedTraits learn_expected(std::span<const GoodCapture> good) {
  ExpectedTraits out;
  out.captures = good.size();
  std::vector<double> clamps, supplies;
  for (const GoodCapture& g : good) {
    if (g.figures.clamp_V.usable()) clamps.push_back(g.figures.clamp_V.value);
    if (g.figures.supply_V > 0) supplies.push_back(g.figures.supply_V);
    if (g.figures.suppression != SeenSuppression::not_judged)
      out.suppression = g.figures.suppression;
  }
  if (!clamps.empty()) out.clamp_V = upper_median_of(clamps);
  if (!supplies.empty()) out.supply_V = upper_median_of(supplies);
  for (std::size_t t = 0; t < kTraits; ++t) {
    std::vector<double> seen;
    for (const GoodCapture& g : good) {
      const Estimate e = traits_of(g.figures, g.copper_ratio).ln[t];
      if (std::isfinite(e.value)) seen.push_back(e.value);
    }
    // A mark that half of the good ones do not show is none to expect.
    if (seen.empty() || 2 * seen.size() < good.size()) {
      out.traits.ln[t] = {std::nan(""), std::nan("")};
      continue;
    }
    const double n = static_cast<double>(seen.size()), s = deviation(seen);
    const double usual = kUsualSpread[t];
    const double pooled =
        std::sqrt((kPriorWeight * usual * usual + (n - 1) * s * s) / (kPriorWeight + n - 1));
    out.traits.ln[t] = {mean_of(seen), pooled * std::sqrt(1 + 1 / n)};
  }
  return out;
}

}  // namespace pinproof::waveform
