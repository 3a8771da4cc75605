#include "waveform/whole_pulse.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "waveform/exponentials.h"
#include "waveform/residuals.h"
#include "waveform/separable.h"
#include "waveform/signal.h"

namespace pinproof::waveform {
namespace {

constexpr double kBlocksOfTau = 25;    // samples are averaged down to tau over this
constexpr std::size_t kFewest = 40;    // blocks
constexpr std::size_t kMost = 4000;    // blocks: a long pulse is averaged further
constexpr double kShortSkip_s = 5e-5;  // after the onset, where even that fits
constexpr double kFloor = 1e-4;        // misfit below this share of the current is no evidence

// The voltage of the on phase as a source's behind its own resistance: V falls
// with the current, hence by one exponential. Taken in place of the samples where
// what is left of them is noise; the zero line's and the noise's share of it are
// then two numbers instead of thousands.
struct SourceVoltage {
  bool holds = false;
  double level = 0, fall = 0, k = 0;           // V + fall exp(-k t), t in samples from the onset
  double level_u = 0, fall_u = 0, common = 0;  // noise; common: of the level by one u of the fall
};

SourceVoltage find_source(const Prepared& p, std::size_t from, std::size_t to) {
  SourceVoltage out;
  const auto current = fit_exponentials(std::span(p.current_A).subspan(from, to - from), 1, 1);
  if (current.status != FitStatus::ok) return out;
  out.k = current.rate[0];
  double n = 0, e = 0, ee = 0, v = 0, ev = 0;
  std::vector<double> left(to - from);
  const auto decay = [&](std::size_t t) {
    return std::exp(-out.k * (static_cast<double>(from + t) - p.on_index));
  };
  for (std::size_t t = 0; t < left.size(); ++t) {
    const double x = decay(t), y = p.voltage_V[from + t];
    n += 1, e += x, ee += x * x, v += y, ev += x * y;
  }
  const double spread = ee - e * e / n;
  out.fall = (ev - e * v / n) / spread;
  out.level = (v - out.fall * e) / n;
  for (std::size_t t = 0; t < left.size(); ++t)
    left[t] = p.voltage_V[from + t] - out.level - out.fall * decay(t);
  const double noise = p.voltage_noise_V * p.voltage_colour;
  out.holds = p.voltage_measured && is_noise(left, noise, kFloor * p.step_V);
  out.level_u = noise / std::sqrt(n), out.fall_u = noise / std::sqrt(spread);
  out.common = -e / n * out.fall_u;
  return out;
}

// What the inputs are moved by, to see what moves with them.
struct InputShift {
  double amps = 0, volts = 0;  // zero lines
  double level = 0, fall = 0;  // the source's
};

// The pulse from `from` on, averaged in blocks; the model is averaged alike, so
// nothing is approximated.
class WholePulse {
 public:
  WholePulse(const Prepared& p, const RestFit& rest, double skip_s)
      : p_(p), first_(p.on > 3 ? p.on - 3 : 0) {
    const double tau = rest.tau_s.value / p.interval_s;
    const std::size_t edge = std::max<std::size_t>(2, (p.off - p.on) / 200);
    from_ = static_cast<std::size_t>(p.on_index + skip_s / p.interval_s) + 1;
    to_ = p.has_off() ? p.off - edge : p.off;
    block_ = std::max<std::size_t>(1, static_cast<std::size_t>(tau / kBlocksOfTau));
    block_ = std::max(block_, (to_ - from_) / kMost + 1);
    blocks_ = to_ > from_ ? (to_ - from_) / block_ : 0;
    if (blocks_ >= kFewest) source_ = find_source(p, from_, to_);
  }

  std::size_t blocks() const { return blocks_; }
  std::size_t block() const { return block_; }
  std::size_t first_sample() const { return from_; }
  std::size_t end_sample() const { return from_ + blocks_ * block_; }
  const SourceVoltage& source() const { return source_; }

  // From first_ on.
  std::vector<double> volts(const InputShift& by) const {
    std::vector<double> out(p_.voltage_V.begin() + static_cast<std::ptrdiff_t>(first_),
                            p_.voltage_V.begin() + static_cast<std::ptrdiff_t>(to_));
    // The samples of the edge are its shape, and stay.
    const std::size_t full = from_ - first_ > 4 ? (p_.on - first_) + (from_ - p_.on) / 2 : 0;
    for (std::size_t n = p_.on - first_; n < out.size(); ++n) {
      const double t = static_cast<double>(first_ + n) - p_.on_index;
      if (source_.holds && n >= full)
        out[n] = source_.level + by.level + (source_.fall + by.fall) * std::exp(-source_.k * t);
      out[n] += by.volts;
    }
    return out;
  }

  std::vector<double> averaged(std::span<const double> x, double shift) const {
    std::vector<double> out(blocks_);
    for (std::size_t b = 0; b < blocks_; ++b)
      out[b] = mean_of(x.subspan(b * block_, block_)) + shift;
    return out;
  }

  // The columns are v and -(v - LP(v)).
  SeparableFit fit(const InputShift& by, double k_start) const {
    const auto driven = volts(by);
    const auto y = averaged(std::span(p_.current_A).subspan(from_), by.amps);
    const auto v = averaged(std::span(driven).subspan(from_ - first_), 0);
    std::vector<double> high(to_ - from_), slope(high.size());
    const Basis basis = [&](double k, std::span<double> value, std::span<double> by_k) {
      high_pass(driven, p_.interval_s, k, from_ - first_, high, slope);
      for (std::size_t b = 0; b < blocks_; ++b) {
        value[b] = v[b], by_k[b] = 0;
        value[blocks_ + b] = -mean_of(std::span(high).subspan(b * block_, block_));
        by_k[blocks_ + b] = -mean_of(std::span(slope).subspan(b * block_, block_));
      }
    };
    return fit_separable(y, 2, basis, k_start);
  }

 private:
  const Prepared& p_;
  std::size_t first_, from_ = 0, to_ = 0, block_ = 1, blocks_ = 0;
  SourceVoltage source_;
};

// The four figures of a fit: R, L, tau, a.
std::array<double, 4> figures(const SeparableFit& f) {
  const double a = f.c[1] / f.c[0];
  return {1 / f.c[0], a / (f.k * f.c[0]), 1 / f.k, a};
}

// Their slopes by G, H and k.
std::array<std::array<double, 3>, 4> slopes(const SeparableFit& f) {
  const double g = f.c[0], h = f.c[1], k = f.k;
  return {{{-1 / (g * g), 0, 0},
           {-2 * h / (k * g * g * g), 1 / (k * g * g), -h / (k * k * g * g)},
           {0, 0, -1 / (k * k)},
           {-h / (g * g), 1 / g, 0}}};
}

// What the voltage's own noise moves the figures by where its samples are the
// model's input. It enters the model as
// G (1 - a) n + G a LP(n); the fit weighs it with the rows of (J'J)^-1 J', so the
// low-pass is run backwards over those.
std::array<double, 4> by_voltage_noise(const SeparableFit& f, const WholePulse& pulse,
                                       const Prepared& p) {
  const std::size_t n = pulse.blocks();
  const auto v = pulse.averaged(std::span(p.voltage_V).subspan(pulse.first_sample()), 0);
  const double h = static_cast<double>(pulse.block()) * p.interval_s;
  const double keep = std::exp(-f.k * h), g = f.c[0], a = f.c[1] / f.c[0];
  const double sigma2 = f.sigma * f.sigma;
  std::array<double, 4> out{};
  const auto by = slopes(f);
  for (std::size_t q = 0; q < 4; ++q) {
    std::array<double, 3> w{};  // (J'J)^-1 times the figure's slope
    for (std::size_t i = 0; i < 3; ++i)
      for (std::size_t j = 0; j < 3; ++j) w[i] += f.covariance[3 * i + j] / sigma2 * by[q][j];
    double low = 0, sum = 0;
    for (std::size_t b = n; b-- > 0;) {
      // The Jacobian's columns by an ideal step, which is near enough for a noise.
      const double t = (static_cast<double>(b) + 0.5) * h, e = std::exp(-f.k * t);
      const double gain = w[0] * v[b] - w[1] * v[b] * e + w[2] * f.c[1] * v[b] * t * e;
      low = keep * low + (1 - keep) * gain;
      sum += std::pow(g * ((1 - a) * gain + a * low), 2);
    }
    out[q] = p.voltage_colour * p.voltage_noise_V / std::sqrt(static_cast<double>(pulse.block())) *
             std::sqrt(sum);
  }
  return out;
}

struct FigureSpread {
  const WholePulse& pulse;
  const Prepared& p;

  // Standard uncertainties of the four figures, noise and zero lines; the gains
  // and the onset are added by who knows the figure.
  std::array<double, 4> of(const SeparableFit& f) const {
    const auto here = figures(f);
    const auto by = slopes(f);
    const double longer = std::sqrt(correlation_time(f.residual));
    std::array<double, 4> out{};
    for (std::size_t q = 0; q < 4; ++q) {
      double variance = 0;
      for (std::size_t i = 0; i < 3; ++i)
        for (std::size_t j = 0; j < 3; ++j)
          variance += by[q][i] * f.covariance[3 * i + j] * by[q][j];
      out[q] = longer * std::sqrt(variance);
    }
    for (const InputShift& shift : shifts()) {
      const auto moved = pulse.fit(shift, f.k);
      if (moved.status != FitStatus::ok) continue;
      const auto there = figures(moved);
      for (std::size_t q = 0; q < 4; ++q) out[q] = std::hypot(out[q], there[q] - here[q]);
    }
    if (!pulse.source().holds) {
      const auto by_v = by_voltage_noise(f, pulse, p);
      for (std::size_t q = 0; q < 4; ++q) out[q] = std::hypot(out[q], by_v[q]);
    }
    return out;
  }

  // Independent of one another, each by its standard uncertainty.
  std::vector<InputShift> shifts() const {
    std::vector<InputShift> out{{.amps = p.current_offset_u}, {.volts = p.voltage_offset_u}};
    const SourceVoltage& s = pulse.source();
    if (s.holds)
      out.insert(out.end(), {{.level = s.level_u}, {.level = s.common, .fall = s.fall_u}});
    return out;
  }
};

bool is_coil(const SeparableFit& f) {
  return f.status == FitStatus::ok && f.c[0] > 0 && f.c[1] > 0 && f.c[1] < 1.1 * f.c[0];
}

void describe(const SeparableFit& f, const WholePulse& pulse, const Prepared& p,
              const AnalysisOptions& options, WholeFit& out) {
  const auto value = figures(f);
  const auto u = FigureSpread{pulse, p}.of(f);
  const double gain = std::hypot(options.voltage_gain_u, options.current_gain_u);
  // An onset off by d multiplies a by exp(d / tau), and L with it.
  const double onset = p.model_u_s / value[2];
  const auto volts = pulse.averaged(std::span(p.voltage_V).subspan(pulse.first_sample()), 0);
  const std::size_t last = std::max<std::size_t>(1, volts.size() / 6);
  out.resistance_ohm = {value[0], std::hypot(u[0], value[0] * gain)};
  const double amps = mean_of(std::span(volts).last(last)) / value[0];
  out.current_A = {amps, amps * std::hypot(u[0] / value[0], options.current_gain_u)};
  out.rest.inductance_H = {value[1], std::hypot(u[1], value[1] * onset, value[1] * gain)};
  out.rest.tau_s = {value[2], u[2]};
  out.rest.eddy = {std::min(value[3], 1.0), std::hypot(u[3], value[3] * onset)};
  out.rest.residual_rms_A = std::sqrt(f.rss / static_cast<double>(f.residual.size()) *
                                      static_cast<double>(pulse.block()));
  out.rest.samples = pulse.end_sample() - pulse.first_sample();
  out.rest.from_s = p.seconds(static_cast<double>(pulse.first_sample()), p.on_index);
  out.rest.to_s = p.seconds(static_cast<double>(pulse.end_sample() - 1), p.on_index);
}

}  // namespace

namespace {

// Residuals that are noise over the whole pulse, and over its beginning, where
// leakage and diffusing flux would show.
bool holds(const SeparableFit& f, const WholePulse& pulse, const Prepared& p,
           const SettledCurrent& settled, double until_s) {
  const double share = 1 / std::sqrt(static_cast<double>(pulse.block()));
  const double a = f.c[1] / f.c[0];
  const double sigma = share * std::hypot(p.current_colour * p.current_noise_A,
                                          f.c[0] * (1 - a) * p.voltage_colour * p.voltage_noise_V);
  const double floor = kFloor * settled.current_A;
  const double begin = p.on_index + until_s / p.interval_s;
  const double early =
      (begin - static_cast<double>(pulse.first_sample())) / static_cast<double>(pulse.block());
  const auto n = static_cast<std::size_t>(std::max(0.0, std::ceil(early)));
  if (n > 0 && n < f.residual.size()) {
    const double m = mean_of(std::span(f.residual).first(n));
    if (std::abs(m) > 3 * std::hypot(sigma / std::sqrt(static_cast<double>(n)), floor))
      return false;
  }
  return is_noise(f.residual, sigma, floor);
}

}  // namespace

WholeFit fit_whole(const Prepared& p, const SettledCurrent& settled, const RestFit& rest,
                   const AnalysisOptions& options) {
  WholeFit out;
  if (!rest.found() || settled.current_limited) return out;
  for (const double skip_s : {kShortSkip_s, rest.from_s}) {
    const WholePulse pulse(p, rest, std::min(skip_s, rest.from_s));
    if (pulse.blocks() < kFewest) continue;
    const auto f = pulse.fit({}, 1 / rest.tau_s.value);
    if (!is_coil(f) || !holds(f, pulse, p, settled, rest.from_s)) continue;
    out.holds = true;
    describe(f, pulse, p, options, out);
    break;
  }
  return out;
}

}  // namespace pinproof::waveform
