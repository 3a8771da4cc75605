// The stationary model of a coil with an eddy path, fitted before its plunger
// moves. Inside the waveform folder only.
//   v - R i = a (v - LP(v)),  LP' = (v - LP) / tau
// See coil_figures.h for where it comes from.
#pragma once

#include <span>
#include <string>
#include <vector>

#include "waveform/prepared.h"
#include "waveform/settled.h"

namespace pinproof::waveform {

/// v - LP(v) at samples from .. from + value.size() of `volts`, and its
/// derivative by k = 1/tau. The low-pass starts at rest (0) at sample 0 and sees
/// v in straight lines between the samples, for which the recursion is exact.
void high_pass(std::span<const double> volts, double interval_s, double k, std::size_t from,
               std::span<double> value, std::span<double> by_k);

struct RestFit {
  std::string reason;  ///< why there is none; empty when there is one
  Estimate inductance_H;
  Estimate tau_s;
  Estimate eddy;  ///< a
  double residual_rms_A = 0;
  std::size_t samples = 0;
  double from_s = 0, to_s = 0;  ///< window, from the onset

  bool found() const { return reason.empty(); }
  /// Re = R a / (1 - a), as a conductance.
  double eddy_siemens(double resistance_ohm) const {
    return (1 - eddy.value) / (eddy.value * resistance_ohm);
  }
};

/// Fits over a window that starts behind leakage and flux diffusion and grows
/// until its residuals become systematic: then the plunger has left its seat or
/// the iron saturates. `before` bounds it (index; the current's peak, say).
RestFit fit_rest(const Prepared& p, const SettledCurrent& settled, const AnalysisOptions& options,
                 double before);

}  // namespace pinproof::waveform
