// Small tools on sampled signals, shared by the analysis; not for use elsewhere.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "quantity/statistics.h"

namespace pinproof::waveform {

/// Standard deviation with n - 1; 0 for fewer than two samples.
double deviation(std::span<const double> x);

/// Standard deviation of one sample's noise, from second differences (whose
/// variance is six times the sample's), by their median absolute value: slow
/// signal and rare jumps do not count. Valid for white noise. Never less than a
/// digitiser's step gives, quantum / sqrt(12), of fifty steps or more.
double noise_of(std::span<const double> x);

/// Smallest difference between neighbouring samples that is not zero: a
/// digitiser's step, or a mere trifle where there was none. 0 for a constant.
double quantum_of(std::span<const double> x);

/// Least-squares parabola over 2 half + 1 samples around each sample
/// (Savitzky and Golay 1964, quadratic). Shrinks at the ends.
std::vector<double> smooth(std::span<const double> x, std::size_t half);

/// What smoothing with `half` leaves of a white noise's standard deviation.
double smoothed_share(std::size_t half);

/// The same parabola's slope a sample.
std::vector<double> slope(std::span<const double> x, std::size_t half);

/// Median of each sample and its two neighbours: single wild samples go.
std::vector<double> without_spikes(std::span<const double> x);

/// Where the least-squares parabola over 2 half + 1 samples is stationary.
struct Vertex {
  double index = 0;  ///< fractional
  double value = 0;
  double u = 0;  ///< of the index, from the samples' noise
};
/// The parabola is centred on the vertex it finds, at most `half` from `index`;
/// `index` itself with u = half where there is no vertex that near.
Vertex vertex_of(std::span<const double> x, std::size_t index, std::size_t half, double noise);

/// First run of `length` samples at or after `from` that all satisfy `test`, or
/// of fewer that last to the end.
template <class Test>
std::optional<std::size_t> first_run(std::span<const double> x, std::size_t from,
                                     std::size_t length, const Test& test) {
  std::size_t run = 0;
  for (std::size_t k = from; k < x.size(); ++k) {
    run = test(x[k]) ? run + 1 : 0;
    if (run == length || (run > 0 && k + 1 == x.size())) return k + 1 - run;
  }
  return std::nullopt;
}

/// First fractional index at or after `from` where x crosses `level` upward.
std::optional<double> rises_through(std::span<const double> x, double level, std::size_t from);
/// The same downward.
std::optional<double> falls_through(std::span<const double> x, double level, std::size_t from);

/// A maximum followed by a minimum that is lower by at least `depth`, and after
/// it a rise by at least `depth` again.
struct Dip {
  std::size_t peak = 0;
  std::size_t valley = 0;
};
std::optional<Dip> find_dip(std::span<const double> x, std::size_t from, std::size_t to,
                            double depth);

}  // namespace pinproof::waveform
