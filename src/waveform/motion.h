// The plunger's equation of motion fitted to its travel. Inside the waveform
// folder only.
//
// The field's force goes with the square of the flux, so with the travel s as a
// share of the gap,
//   s'' = alpha (lambda^2 - lambda_0^2) - beta s' - kappa s,   s >= 0,
// from rest (Newton's law, one gap; friction while moving adds to lambda_0). The
// measured linkage drives it; alpha, beta, kappa and lambda_0 are found, and a
// base that a small error of the resting inductance leaves in s.
#pragma once

#include <span>

namespace pinproof::waveform {

struct Motion {
  bool found = false;
  double freeing_Vs = 0;    ///< lambda_0: above it the plunger leaves its rest
  double freeing_u_Vs = 0;  ///< standard uncertainty
  double begin = 0;         ///< where s passes `begun`, in samples
  double begin_u = 0;
  double misfit = 0;  ///< rms of the weighted residuals: 1 for noise
};

struct MotionData {
  std::span<const double> linkage_Vs;  ///< from before the motion to near its end
  std::span<const double> share;       ///< s, as measured
  double noise_Vs = 0;  ///< L times one current sample's noise: s is off by it over lambda
  double begun = 0;     ///< value of s that counts as begun
};

/// Levenberg-Marquardt from a free and from a damped start; not found where
/// neither settles, or lambda_0 lies outside the data's linkage.
Motion fit_motion(const MotionData& data);

}  // namespace pinproof::waveform
