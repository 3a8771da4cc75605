#include "waveform/capture.h"

#include <algorithm>
#include <cmath>

namespace pinproof::waveform {

std::string fault_in(const Capture& capture) {
  const auto all_finite = [](const std::vector<double>& x) {
    return std::all_of(x.begin(), x.end(), [](double s) { return std::isfinite(s); });
  };
  if (!std::isfinite(capture.start_s) || !std::isfinite(capture.interval_s) ||
      !(capture.interval_s > 0))
    return "the sampling interval is not a positive number";
  if (!capture.voltage_V.empty() && capture.voltage_V.size() != capture.current_A.size())
    return "voltage and current have different numbers of samples";
  if (!all_finite(capture.current_A)) return "a current sample is not a number";
  if (!all_finite(capture.voltage_V)) return "a voltage sample is not a number";
  if (capture.current_A.size() < kFewestSamples)
    return "fewer than " + std::to_string(kFewestSamples) + " samples";
  return "";
}

}  // namespace pinproof::waveform
