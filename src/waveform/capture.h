// Voltage and current of one coil, sampled at equal steps.
#pragma once

#include <vector>

namespace pinproof::waveform {

struct Capture {
  double start_s = 0;              ///< time of sample 0
  double interval_s = 0;           ///< > 0
  std::vector<double> current_A;
  std::vector<double> voltage_V;   ///< across the coil; as long as current_A, or empty if it was not recorded

  double time(double index) const { return start_s + index * interval_s; }
};

}  // namespace pinproof::waveform
