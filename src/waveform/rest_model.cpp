#include "waveform/rest_model.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>

#include "waveform/residuals.h"
#include "waveform/separable.h"
#include "waveform/signal.h"

namespace pinproof::waveform {
namespace {

constexpr std::array kSkips_s{0.10e-3, 0.20e-3, 0.40e-3};  // after the onset
constexpr double kFinest_s = 10e-6;      // faster captures are averaged down to this
constexpr std::size_t kLongest = 20000;  // samples of a window after that
constexpr std::size_t kFewestInFit = 12;
constexpr double kGrowth = 1.2;   // of the window from try to try
constexpr double kFloor = 1e-4;   // misfit below this share of the voltage is no evidence
constexpr double kBackOff = 0.8;  // of the window that still passed: motion starts gently

// Voltage and current from just before the onset on, averaged over `block`
// samples where the capture is finer than the model needs.
struct Series {
  double interval_s = 0;
  double onset = 0;  // index of the onset
  std::vector<double> volts, amps;
};

Series make_series(const Prepared& p) {
  const auto block = static_cast<std::size_t>(std::max(1.0, std::floor(kFinest_s / p.interval_s)));
  const std::size_t first = p.on > 3 * block ? p.on - 3 * block : 0;
  const double b = static_cast<double>(block);
  Series out;
  out.interval_s = p.interval_s * b;
  out.onset = (p.on_index - static_cast<double>(first) - (b - 1) / 2) / b;
  for (std::size_t k = first; k + block <= p.off && out.volts.size() < kLongest; k += block) {
    out.volts.push_back(mean_of(std::span(p.voltage_V).subspan(k, block)));
    out.amps.push_back(mean_of(std::span(p.current_A).subspan(k, block)));
  }
  return out;
}

struct Window {
  std::size_t from = 0, to = 0;
  std::size_t size() const { return to - from; }
};

class RestFitter {
 public:
  RestFitter(const Prepared& p, const SettledCurrent& settled)
      : p_(p), settled_(settled), series_(make_series(p)) {}

  RestFit run(const AnalysisOptions& options, double before);

 private:
  SeparableFit fit(const Window& w, double resistance, double shift_V) const;
  bool passes(const SeparableFit& f) const;
  std::optional<Window> grow(std::size_t from, std::size_t end) const;
  double inductance(const SeparableFit& f, double resistance) const {
    return resistance * f.c[0] / f.k;
  }
  double noise_u(const SeparableFit& f) const;
  double model_u(const Window& w, const SeparableFit& f) const;
  std::optional<Window> choose(double before) const;
  void describe(const Window& w, const SeparableFit& f, const AnalysisOptions& options,
                RestFit& out) const;

  const Prepared& p_;
  const SettledCurrent& settled_;
  Series series_;
};

SeparableFit RestFitter::fit(const Window& w, double resistance, double shift_V) const {
  std::vector<double> y(w.size());
  for (std::size_t k = 0; k < y.size(); ++k)
    y[k] = series_.volts[w.from + k] - resistance * series_.amps[w.from + k] + shift_V;
  const Basis basis = [&](double k, std::span<double> value, std::span<double> by_k) {
    high_pass(series_.volts, series_.interval_s, k, w.from, value, by_k);
  };
  const double reach = (static_cast<double>(w.to) - series_.onset) * series_.interval_s;
  return fit_separable(y, 1, basis, 1 / reach);
}

bool RestFitter::passes(const SeparableFit& f) const {
  if (!(f.c[0] > 0)) return false;
  const double blocks = std::sqrt(series_.interval_s / p_.interval_s);
  const double sigma = std::hypot(settled_.resistance_ohm * p_.current_noise_A * p_.current_colour,
                                  (1 - f.c[0]) * p_.voltage_noise_V * p_.voltage_colour) /
                       blocks;
  return is_noise(f.residual, sigma, kFloor * p_.step_V);
}

// The longest window from `from` that passes, before two in a row do not.
std::optional<Window> RestFitter::grow(std::size_t from, std::size_t end) const {
  std::optional<Window> best;
  int failed = 0;
  for (double length = kFewestInFit; failed < 2; length *= kGrowth) {
    const Window w{from, std::min(end, from + static_cast<std::size_t>(length))};
    if (end < from + kFewestInFit) return best;
    const auto f = fit(w, settled_.resistance_ohm, 0);
    // Too few samples for their noise are no sign of motion.
    const bool told = f.status == FitStatus::ok;
    if (told) failed = passes(f) ? 0 : failed + 1;
    if (told && failed == 0) best = w;
    if (w.to == end) break;
  }
  if (failed == 0) return best;
  if (best) {
    const auto shorter = static_cast<std::size_t>(kBackOff * static_cast<double>(best->size()));
    best->to = best->from + std::max(kFewestInFit, shorter);
  }
  return best;
}

// Standard uncertainty of L = R a / k from noise, a and k correlated.
double RestFitter::noise_u(const SeparableFit& f) const {
  const double a = f.c[0];
  const double relative =
      f.covariance[0] / (a * a) + f.covariance[3] / (f.k * f.k) - 2 * f.covariance[1] / (a * f.k);
  return p_.current_colour * inductance(f, settled_.resistance_ohm) *
         std::sqrt(std::max(0.0, relative));
}

// A shorter window must give the same L; what noise does not explain of the
// difference is the model's.
double RestFitter::model_u(const Window& w, const SeparableFit& f) const {
  const Window shorter{w.from, w.from + w.size() * 7 / 10};
  if (shorter.size() < kFewestInFit) return 0;
  const auto g = fit(shorter, settled_.resistance_ohm, 0);
  if (g.status != FitStatus::ok) return 0;
  const double difference =
      std::abs(inductance(g, settled_.resistance_ohm) - inductance(f, settled_.resistance_ohm));
  const double own = noise_u(f), other = noise_u(g);
  const double noise = std::sqrt(std::max(0.0, other * other - own * own));
  return difference > 3 * noise ? difference : 0;
}

std::optional<Window> RestFitter::choose(double before) const {
  const double scale = p_.interval_s / series_.interval_s;
  const double limit = series_.onset + (before - p_.on_index) * scale;
  const std::size_t end =
      std::min(series_.volts.size(), static_cast<std::size_t>(std::max(0.0, limit)));
  std::optional<Window> best;
  double best_u = 0;
  for (const double skip : kSkips_s) {
    auto from =
        static_cast<std::size_t>(series_.onset + std::max(3.0, skip / series_.interval_s)) + 1;
    // A fast coil sampled slowly: the skip is given up before the fit is.
    const auto earliest = static_cast<std::size_t>(series_.onset) + 2;
    if (end < from + kFewestInFit)
      from = std::max(earliest, end > kFewestInFit ? end - kFewestInFit : 0);
    const auto w = grow(from, end);
    if (!w) continue;
    const auto f = fit(*w, settled_.resistance_ohm, 0);
    if (f.status != FitStatus::ok) continue;
    const double u = noise_u(f);
    if (!best || u < 0.7 * best_u) best = w, best_u = u;
  }
  return best;
}

void RestFitter::describe(const Window& w, const SeparableFit& f, const AnalysisOptions& options,
                          RestFit& out) const {
  const double r = settled_.resistance_ohm;
  const double value = inductance(f, r), tau = 1 / f.k, a = f.c[0];
  const auto by_r = fit(w, r + settled_.noise_u, 0);
  // Of v - R i, by the zero lines of both.
  const auto by_zero = fit(w, r, std::hypot(r * p_.current_offset_u, p_.voltage_offset_u));
  const auto moved = [&](auto&& figure, double here) {
    const bool both = by_r.status == FitStatus::ok && by_zero.status == FitStatus::ok;
    if (!both) return std::abs(here);  // not even the fit stands such a change
    return std::hypot(figure(by_r, r + settled_.noise_u) - here, figure(by_zero, r) - here);
  };
  const double l_other =
      moved([&](const auto& g, double ohm) { return inductance(g, ohm); }, value);
  const double tau_other = moved([](const auto& g, double) { return 1 / g.k; }, tau);
  const double a_other = moved([](const auto& g, double) { return g.c[0]; }, a);
  // An onset off by d multiplies a by exp(d / tau), and L with it.
  const double onset = p_.model_u_s / tau;
  const double gain = std::hypot(options.voltage_gain_u, options.current_gain_u);
  out.inductance_H = {value, std::hypot(std::hypot(noise_u(f), l_other, model_u(w, f)),
                                        value * onset, value * gain)};
  out.tau_s = {tau, std::hypot(f.sd[1] * tau * tau, tau_other)};
  out.eddy = {std::min(a, 1.0), std::hypot(f.sd[0], a_other, a * onset)};
  out.samples = w.size();
  out.residual_rms_A = std::sqrt(f.rss / static_cast<double>(w.size())) / r;
  out.from_s = (static_cast<double>(w.from) - series_.onset) * series_.interval_s;
  out.to_s = (static_cast<double>(w.to - 1) - series_.onset) * series_.interval_s;
}

RestFit RestFitter::run(const AnalysisOptions& options, double before) {
  RestFit out;
  const auto w = choose(before);
  if (!w) {
    out.reason =
        "no stretch of the rise fits a resting plunger: too few samples before it moves, "
        "or the voltage is not the coil's own";
    return out;
  }
  const auto f = fit(*w, settled_.resistance_ohm, 0);
  // An a beyond 1 is noise or a wrong onset; far beyond, the model does not hold.
  if (f.c[0] > 1.1 + 3 * f.sd[0]) {
    out.reason = "the current starts later than the voltage: the two channels are not in step";
    return out;
  }
  describe(*w, f, options, out);
  if (!out.inductance_H.usable() || out.inductance_H.u > 0.3 * out.inductance_H.value)
    out.reason = "the rise before the plunger moves is too short or too noisy for an inductance";
  return out;
}

}  // namespace

void high_pass(std::span<const double> volts, double interval_s, double k, std::size_t from,
               std::span<double> value, std::span<double> by_k) {
  const double x = k * interval_s;
  const double e = std::exp(-x);
  const bool tiny = x < 1e-3;  // where the closed forms cancel
  const double q = tiny ? 1 - x / 2 + x * x / 6 : (1 - e) / x;
  const double dq = tiny ? -0.5 + x / 3 - x * x / 8 : (e * x - (1 - e)) / (x * x);
  double low = 0, dlow = 0;
  for (std::size_t n = 0; n < from + value.size(); ++n) {
    if (n > 0) {
      dlow = e * dlow - e * low + (dq + e) * volts[n - 1] - dq * volts[n];
      low = e * low + (q - e) * volts[n - 1] + (1 - q) * volts[n];
    }
    if (n < from) continue;
    value[n - from] = volts[n] - low;
    by_k[n - from] = -dlow * interval_s;
  }
}

RestFit fit_rest(const Prepared& p, const SettledCurrent& settled, const AnalysisOptions& options,
                 double before) {
  return RestFitter(p, settled).run(options, before);
}

}  // namespace pinproof::waveform
