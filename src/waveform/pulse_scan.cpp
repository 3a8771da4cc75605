#include "waveform/pulse_scan.h"

#include <algorithm>
#include <cmath>
#include <span>

#include "waveform/signal.h"

namespace pinproof::waveform {
namespace {

constexpr std::size_t kMostPhases = 4;  // more on phases than that: modulated
constexpr double kLeastStep_V = 0.2;    // less is no pulse
constexpr double kOutOfNoise = 10;      // standard deviations: a pulse stands out by more

double peak_of(std::span<const double> x, double zero) {
  double out = 0;
  for (const double s : x) out = std::max(out, std::abs(s - zero));
  return out;
}

// The noisier of the two halves: noise may grow with the signal.
double noise_in(std::span<const double> x) {
  const std::size_t half = x.size() / 2;
  return std::max({noise_of(x), noise_of(x.first(half)), noise_of(x.last(half))});
}

}  // namespace

PulseScan::PulseScan(const Capture& c) : capture(c), amps(without_spikes(c.current_A)) {
  if (!c.voltage_V.empty()) volts = without_spikes(c.voltage_V);
  has_pulse = measure();
}

std::size_t PulseScan::in(double seconds, std::size_t least) const {
  const double n = std::clamp(std::round(seconds / capture.interval_s), 0.0, 1e9);
  return std::max(least, static_cast<std::size_t>(n));
}

void PulseScan::find_phases() {
  const double level = zero_V + step_V / 2;
  bool on = volts[0] > level;
  OnPhase run{0, 0};
  for (std::size_t k = 1; k <= volts.size(); ++k) {
    const bool now = k < volts.size() && volts[k] > level;
    if (now && !on) run.from = k;
    if (on && !now) run.to = k, phases.push_back(run);
    on = now;
  }
}

bool PulseScan::measure() {
  zero_A = upper_median_of({amps.begin(), amps.begin() + 5});
  most_A = peak_of(amps, zero_A);
  noise_A = noise_in(capture.current_A);
  if (!volts.empty()) {
    zero_V = upper_median_of({volts.begin(), volts.begin() + 5});
    step_V = *std::max_element(volts.begin(), volts.end()) - zero_V;
    noise_V = noise_in(capture.voltage_V);
    if (step_V < std::max(kLeastStep_V, kOutOfNoise * noise_V)) return false;
    find_phases();
    if (phases.size() > kMostPhases) return false;
  }
  return most_A > kOutOfNoise * noise_A;
}

}  // namespace pinproof::waveform
