// Small tools on sampled signals, shared by the analysis; not for use elsewhere.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace pinproof::waveform {

double mean(std::span<const double> x);
/// Standard deviation with n - 1; 0 for fewer than two samples.
double deviation(std::span<const double> x);
double median(std::vector<double> x);

/// Standard deviation of one sample's noise, from second differences (whose
/// variance is six times the sample's), by their median absolute value: slow
/// signal and rare jumps do not count. Valid for white noise.
double noise_of(std::span<const double> x);

/// Least-squares parabola over 2 half + 1 samples around each sample
/// (Savitzky and Golay 1964, quadratic). Shrinks at the ends.
std::vector<double> smooth(std::span<const double> x, std::size_t half);

/// The same parabola's slope a sample.
std::vector<double> slope(std::span<const double> x, std::size_t half);

/// Fractional index where the parabola through the samples around `index` is
/// stationary; `index` itself where that lies outside them.
double vertex(std::span<const double> x, std::size_t index, std::size_t half);

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
std::optional<Dip> find_dip(std::span<const double> x, std::size_t from, std::size_t to, double depth);

}  // namespace pinproof::waveform
