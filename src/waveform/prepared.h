// A capture made ready for analysis: zero lines taken off, the pulse found, and
// refused where it cannot be trusted. Inside the waveform folder only.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "waveform/capture.h"
#include "waveform/coil_figures.h"

namespace pinproof::waveform {

struct Prepared {
  Status status = Status::ok;
  double interval_s = 0;
  double start_s = 0;
  std::vector<double> current_A;  ///< zero line removed
  std::vector<double> voltage_V;  ///< the same; the supply's while on where it was not recorded
  bool voltage_measured = false;
  double current_noise_A = 0;  ///< of one sample
  double voltage_noise_V = 0;
  double current_colour = 1;  ///< of a mean's noise, over what white noise would give; >= 1
  double voltage_colour = 1;
  double current_offset_u = 0;  ///< of the zero line, A
  double voltage_offset_u = 0;  ///< V
  std::size_t on = 0;           ///< first sample of the on phase
  double on_index = 0;          ///< of the onset, fractional
  double on_u_s = 0;            ///< of the instant of switching
  double model_u_s = 0;         ///< of the onset as the sampled voltage tells the model
  std::size_t off = 0;          ///< first sample after the on phase; size() when there is none
  double off_index = 0;         ///< fractional; NaN when the capture ends before it
  double step_V = 0;            ///< largest voltage of the on phase
  bool decay_clipped = false;   ///< the voltage after switch-off went beyond the range

  std::size_t size() const { return current_A.size(); }
  bool has_off() const { return off < size(); }
  std::span<const double> on_current() const { return std::span(current_A).subspan(on, off - on); }
  std::span<const double> on_voltage() const { return std::span(voltage_V).subspan(on, off - on); }
  double seconds(double index, double since) const { return (index - since) * interval_s; }
  /// Whole samples in a time, at least `least`.
  std::size_t samples_in(double seconds, std::size_t least) const;
};

/// Post: status ok and on < off, or the reason in status. slow_step and
/// late_start come with the on phase found.
Prepared prepare(const Capture& capture, const AnalysisOptions& options);

}  // namespace pinproof::waveform
