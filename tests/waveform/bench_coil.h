// A solenoid and a bench in a few lines, for tests: the same physics as the
// netlists in tests/data/netlists, integrated here so that hundreds of coils can
// be tried, and a digitiser with noise and steps.
#pragma once

#include <cstdint>
#include <random>

#include "waveform/capture.h"

namespace pinproof::waveform {

/// i_m = flux (gap + stroke - y) / k + i_sat (flux / flux_sat)^7, F = flux^2 / (2 k),
/// an eddy path of `eddy_ohm` parallel to it (circuit theory; the saturation law
/// is an invented one).
struct BenchCoil {
  double ohm = 13, eddy_ohm = 80;
  double k_Hm = 35.3e-6;  ///< inductance times gap
  double gap_m = 0.6e-3, stroke_m = 0.5e-3;
  double sat_A = 0.15, sat_Vs = 70e-3;
  double mass_kg = 6e-3, preload_N = 3, spring_N_per_m = 2000, damping_Ns_per_m = 0.6;
  double rest_m = 0;  ///< travel at the start
  bool jammed = false;
  double stop_loss_s_per_m = 4;  ///< of the stops; small ones let the plunger bounce

  double inductance_at(double travel_m) const { return k_Hm / (gap_m + stroke_m - travel_m); }
};

struct BenchDrive {
  double supply_V = 13.5, source_ohm = 0.1;
  double limit_A = 0;  ///< 0 without
  double edge_s = 0;   ///< linear rise of the supply after the onset
  double before_s = 2e-3, pulse_s = 60e-3, after_s = 40e-3;
  double clamp_V = 0.7;  ///< across the coil after switch-off
  double interval_s = 20e-6;
};

struct BenchRun {
  Capture capture;
  double onset_s = 0, off_s = 0;              ///< in the capture's time
  double move_s = 0, seat_s = 0, back_s = 0;  ///< true instants from onset or off; NaN when never
  double deepest_fall_A = 0;  ///< of the true current below an earlier maximum, while on
  double valley_s = 0;        ///< when it was that deep, from the onset
};

/// Fourth-order Runge-Kutta with steps of 1 us. `onset_share` places the onset
/// between two samples, 0 .. 1.
BenchRun run(const BenchCoil& coil, const BenchDrive& drive, double onset_share = 0.3);

/// Gaussian noise of `noise_share` of each channel's largest magnitude, then
/// steps of `bits` over `room` times that range, both ways (0: none).
Capture digitise(const Capture& ideal, double noise_share, int bits, std::uint32_t seed,
                 double room = 2);

}  // namespace pinproof::waveform
