// One coil's electrical, eddy, magnetic and plunger equations in time.
//
//   v = R i + Ls di/dt + (1 - p) dflux/dt        R, Ls of the turns left
//   (1 - p) i = im(flux, y) + G dflux/dt         eddy path and shorted turns
//   im = flux (gap + stroke - y) / k + Isat (flux / Fsat)^7
//   m dv/dt = flux^2 / 2k - F0 - ks y - b v + end stops
// Flux is the linkage of the full winding. Source: circuit theory and the
// energy of this flux law (F is its derivative by y); the numbers are invented.
#pragma once

#include "simulated/pack.h"

namespace pinproof::simulated {

class CoilDynamics {
 public:
  CoilDynamics(const TrueCoil& coil, double copper_ratio);

  double current() const { return i_; }
  double travel() const { return y_; }
  /// Joule heat in the copper since the start.
  double heat_J() const { return heat_; }
  /// Terminal voltage by induction alone: with no current to carry.
  double induced_V() const;
  /// `connected`: the winding sees `volt`. Otherwise its current is zero.
  void step(double volt, double dt, bool connected);

 private:
  struct Rates {
    double i, flux, y, speed;
  };
  Rates rates(double volt, double i, double flux, double y, double speed, bool connected) const;
  double ohm(double i) const;

  const TrueCoil& coil_;
  double copper_ohm_, turns_, g_, leakage_;
  double i_ = 0, flux_ = 0, y_ = 0, speed_ = 0, heat_ = 0, on_s_ = 0;
};

}  // namespace pinproof::simulated
