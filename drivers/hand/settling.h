// Whether the readings under two hand-held probes have settled. Pure.
#pragma once

#include <deque>
#include <optional>
#include <vector>

namespace pinproof::hand {

/// What a pair of pins should show, as far as accepting without a key goes.
/// `expected_ohm` infinite: an open, which always needs a key.
bool plausible(double ohm, double expected_ohm);

/// A reading has settled when it has stayed within a band for the dwell, over at
/// least five samples: probes that slide, and a meter that is still ranging or
/// charging a coil, do not stay.
class Settling {
 public:
  explicit Settling(double dwell_s) : dwell_s_(dwell_s) {}

  void clear() { samples_.clear(), settled_ = false; }
  /// `range_ohm` is the meter's range: its noise is a share of it.
  void add(double at_s, double ohm, double range_ohm);
  bool settled() const { return settled_; }
  /// The samples of the dwell, oldest first.
  std::vector<double> samples() const;
  double mean() const;
  /// Half width of the band that a settled reading stays in: 0.3 % (1 % above
  /// 100 kohm, where hum shows), 20 ppm of the range or 20 milliohm (common
  /// practice, no source).
  static double band(double ohm, double range_ohm);

 private:
  struct Sample {
    double at_s, ohm;
  };
  double dwell_s_;
  std::deque<Sample> samples_;
  bool settled_ = false;
};

}  // namespace pinproof::hand
