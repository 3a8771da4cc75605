// How far a coil is from known-good ones, with a stated rate of false alarms. Pure.
#pragma once

#include <span>
#include <string>
#include <vector>

#include "waveform/traits.h"

namespace pinproof::waveform {

/// Hotelling's distance (1931) of the traits from the mean of n good captures, in
/// their own covariance: T^2 n / (n + 1) (n - p) / (p (n - 1)) follows F(p, n - p)
/// for another good unit, if good units scatter normally in the logarithms. As
/// many traits p as half of the captures bear are used, in the order of Trait.
struct Distance {
  std::string reason;      ///< why there is none
  double distance = 0;     ///< sqrt(T^2 n / (n + 1) / p): about 1 for a good unit
  double false_alarm = 1;  ///< share of good units that lie farther
  std::vector<Trait> used;
  std::size_t captures = 0;
};

/// Needs four good captures or more that show the same traits.
Distance distance_from(const Traits& seen, std::span<const Traits> good);

}  // namespace pinproof::waveform
