// Samples condensed to five moments a block, from which sums with any slow
// exponential follow without the samples. Inside the waveform folder only.
#pragma once

#include <array>
#include <cstddef>
#include <span>
#include <vector>

namespace pinproof::waveform {

/// E = sum z^t y_t and D = sum t z^t y_t, z = exp(-k), t in samples.
struct DecaySums {
  double e = 0, d = 0;
};

/// Of the samples themselves; stops where z^t has nothing left to say.
DecaySums decay_sums(std::span<const double> y, double k);

class BlockMoments {
 public:
  /// One pass over the samples.
  explicit BlockMoments(std::span<const double> y);

  /// From the blocks: inside one, z^u is its series to fourth order. The odd
  /// terms of smooth data cancel over a block; the sixth, averaged over one, is
  /// truncation(k) of the sum (of D's, the larger).
  DecaySums sums(double k) const;
  double truncation(double k) const;

  double samples() const { return n_; }
  double square() const { return square_; }  ///< sum of y^2
  double sum() const;                        ///< of y
  /// Sum of y over the j-th third of the blocks, and its number of samples.
  std::array<double, 3> thirds() const;
  std::size_t third_samples() const { return (blocks_ / 3) * size_; }

 private:
  void gather(std::span<const double> y);
  void add_rest(double k, DecaySums& out) const;

  std::size_t size_ = 0;    // samples a block; what does not fill one is the rest
  std::size_t blocks_ = 0;  // moment q of block b, sum u^q y around its centre: m_[q * blocks_ + b]
  std::vector<double> m_;
  std::span<const double> rest_;
  double n_ = 0, square_ = 0;
};

}  // namespace pinproof::waveform
