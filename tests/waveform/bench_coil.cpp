#include "waveform/bench_coil.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace pinproof::waveform {
namespace {

struct State {
  double flux = 0, travel = 0, speed = 0;
};

State operator+(const State& a, const State& b) {
  return {a.flux + b.flux, a.travel + b.travel, a.speed + b.speed};
}
State operator*(double s, const State& a) { return {s * a.flux, s * a.travel, s * a.speed}; }

// Voltage across the coil, its current and the flux's rate.
struct Terminals {
  double volts = 0, amps = 0, rate = 0;
};

class Bench {
 public:
  Bench(const BenchCoil& c, const BenchDrive& d) : c_(c), d_(d) {}

  double magnetising(const State& s) const {
    const double gap = c_.gap_m + c_.stroke_m - s.travel;
    return s.flux * gap / c_.k_Hm + c_.sat_A * std::pow(s.flux / c_.sat_Vs, 7);
  }

  // i = i_m + rate / Re and v = R i + rate, for a source of `volts` behind `ohm`.
  Terminals driven(const State& s, double volts, double ohm) const {
    const double r = c_.ohm + ohm;
    const double rate = (volts - r * magnetising(s)) / (1 + r / c_.eddy_ohm);
    const double amps = magnetising(s) + rate / c_.eddy_ohm;
    return {volts - ohm * amps, amps, rate};
  }

  Terminals with_current(const State& s, double amps) const {
    const double rate = (amps - magnetising(s)) * c_.eddy_ohm;
    return {c_.ohm * amps + rate, amps, rate};
  }

  Terminals on(const State& s, double since) const {
    const double volts =
        d_.edge_s > 0 ? d_.supply_V * std::min(1.0, since / d_.edge_s) : d_.supply_V;
    const Terminals t = driven(s, volts, d_.source_ohm);
    return d_.limit_A > 0 && t.amps > d_.limit_A ? with_current(s, d_.limit_A) : t;
  }

  Terminals off(const State& s) const {
    const Terminals t = driven(s, -d_.clamp_V, 0);
    return t.amps > 0 ? t : with_current(s, 0);
  }

  State derivative(const State& s, const Terminals& t) const {
    if (c_.jammed) return {t.rate, 0, 0};
    constexpr double kStop = 5e6;  // N/m
    const double loss = c_.stop_loss_s_per_m;
    double force = s.flux * s.flux / (2 * c_.k_Hm) - c_.preload_N - c_.spring_N_per_m * s.travel -
                   c_.damping_Ns_per_m * s.speed;
    if (s.travel < 0) force += -s.travel * kStop * std::max(0.0, 1 - s.speed * loss);
    if (s.travel > c_.stroke_m)
      force -= (s.travel - c_.stroke_m) * kStop * std::max(0.0, 1 + s.speed * loss);
    return {t.rate, s.speed, force / c_.mass_kg};
  }

 private:
  const BenchCoil& c_;
  const BenchDrive& d_;
};

template <class Source>
State step(const Bench& bench, const State& s, double h, const Source& source) {
  const auto f = [&](const State& x) { return bench.derivative(x, source(x)); };
  const State a = f(s), b = f(s + (h / 2) * a), c = f(s + (h / 2) * b), d = f(s + h * c);
  return s + (h / 6) * (a + 2 * b + 2 * c + d);
}

}  // namespace

BenchRun run(const BenchCoil& coil, const BenchDrive& drive, double onset_share) {
  constexpr double kStep_s = 1e-6;
  const double nan = std::numeric_limits<double>::quiet_NaN();
  BenchRun out{{-drive.before_s, drive.interval_s, {}, {}}, 0, 0, nan, nan, nan, 0, nan};
  out.onset_s =
      (std::floor(-out.capture.start_s / drive.interval_s) + onset_share) * drive.interval_s +
      out.capture.start_s;
  out.off_s = out.onset_s + drive.pulse_s;
  const Bench bench(coil, drive);
  State s{0, coil.rest_m, 0};
  double highest = 0;
  const double end_s = drive.pulse_s + drive.after_s;
  const auto lasting = static_cast<long>(std::lround((end_s - out.capture.start_s) / kStep_s));
  const auto every = std::lround(drive.interval_s / kStep_s);
  for (long n = 0; n < lasting; ++n) {
    const double t = out.capture.start_s + static_cast<double>(n) * kStep_s;
    const bool is_on = t >= out.onset_s && t < out.off_s, is_off = t >= out.off_s;
    Terminals now;
    if (is_on) now = bench.on(s, t - out.onset_s);
    if (is_off) now = bench.off(s);
    if (n % every == 0) {
      out.capture.current_A.push_back(now.amps);
      out.capture.voltage_V.push_back(now.volts);
    }
    if (is_on) {
      highest = std::max(highest, now.amps);
      if (highest - now.amps > out.deepest_fall_A) {
        out.deepest_fall_A = highest - now.amps;
        out.valley_s = t - out.onset_s;
      }
      s = step(bench, s, kStep_s, [&](const State& x) { return bench.on(x, t - out.onset_s); });
    }
    if (is_off) s = step(bench, s, kStep_s, [&](const State& x) { return bench.off(x); });
    if (std::isnan(out.move_s) && s.travel > 0.02 * coil.stroke_m) out.move_s = t - out.onset_s;
    if (std::isnan(out.seat_s) && s.travel >= coil.stroke_m) out.seat_s = t - out.onset_s;
    if (is_off && std::isnan(out.back_s) && s.travel <= 0) out.back_s = t - out.off_s;
  }
  return out;
}

Capture digitise(const Capture& ideal, double noise_share, int bits, std::uint32_t seed,
                 double room) {
  Capture out = ideal;
  std::mt19937 random(seed);
  std::normal_distribution<double> normal;
  for (auto* x : {&out.current_A, &out.voltage_V}) {
    double range = 0;
    for (const double s : *x) range = std::max(range, std::abs(s));
    const double lsb = bits > 0 ? 2 * room * range / std::pow(2.0, bits) : 0;
    for (double& s : *x) {
      s += noise_share * range * normal(random);
      if (lsb > 0) s = lsb * std::round(s / lsb);
    }
  }
  return out;
}

}  // namespace pinproof::waveform
