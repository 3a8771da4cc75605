// Voltage and current of one coil, sampled at equal steps.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

namespace pinproof::waveform {

struct Capture {
  double start_s = 0;             ///< time of sample 0; negative with pre-trigger
  double interval_s = 0;          ///< > 0
  std::vector<double> current_A;  ///< through the coil
  std::vector<double>
      voltage_V;  ///< across the coil; as long as current_A, or empty if not recorded

  double time(double index) const { return start_s + index * interval_s; }
};

/// Fewest samples an analysis makes sense of.
inline constexpr std::size_t kFewestSamples = 50;

/// What is wrong with the samples as such, in words; empty when nothing is:
/// interval and start finite, interval > 0, at least kFewestSamples, equal
/// lengths, every sample a finite number.
std::string fault_in(const Capture& capture);

}  // namespace pinproof::waveform
