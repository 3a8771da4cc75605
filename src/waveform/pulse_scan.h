// A pulse laid out for whoever looks for what no coil can show: its levels, its noise, when it
// was on. Inside the waveform folder only.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "waveform/capture.h"
#include "waveform/disturbed.h"

namespace pinproof::waveform {

/// A stretch of samples while the voltage stands.
struct OnPhase {
  std::size_t from = 0, to = 0;  ///< `to` is the first sample off again
  std::size_t size() const { return to - from; }
};

struct PulseScan {
  /// Pre: fault_in(capture) is empty. The capture must outlive the scan.
  explicit PulseScan(const Capture& capture);

  const Capture& capture;
  std::vector<double> amps, volts;  ///< without single wild samples; no volts without a channel
  double zero_V = 0, zero_A = 0, step_V = 0, most_A = 0;
  double noise_A = 0, noise_V = 0;  ///< standard deviations
  std::vector<OnPhase> phases;
  bool has_pulse = false;  ///< one that stands out of the noise and is not modulated

  /// So many seconds in samples, `least` or more.
  std::size_t in(double seconds, std::size_t least) const;
  bool on_at(std::size_t k) const { return volts.empty() || volts[k] > zero_V + step_V / 2; }
  Disturbance at(DisturbanceKind kind, std::size_t k) const {
    return {kind, capture.time(static_cast<double>(k))};
  }

 private:
  bool measure();
  void find_phases();
};

constexpr double kGuard_s = 0.3e-3;  ///< behind a switching edge: leakage, ringing, bouncing
constexpr double kNought = 0.04;     ///< of the largest current: open
constexpr double kLongest = 0.25;    ///< of the capture: the longest block that is looked for

/// Current and voltage that switch at different times: samples of one of them are missing.
/// Pre: the scan has phases.
std::optional<Disturbance> starts_apart(const PulseScan& scan);
std::optional<Disturbance> ends_apart(const PulseScan& scan);

}  // namespace pinproof::waveform
