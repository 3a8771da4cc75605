#include "simulated/coil_dynamics.h"

#include <algorithm>
#include <cmath>

namespace pinproof::simulated {
namespace {

constexpr double kStop_N_m = 5e6;       // end stop stiffness of the reference coil at 3 N preload
constexpr double kStopDamping_s_m = 4;  // share lost a metre a second
constexpr double kFilm_A = 0.05;        // a film has lost half of itself at this current
constexpr double kJointTime_s = 0.02;
constexpr double kShort_ohm = 1e-3;

}  // namespace

CoilDynamics::CoilDynamics(const TrueCoil& coil, double copper_ratio)
    : coil_(coil), copper_ohm_(coil.ohm20 * copper_ratio), turns_(1 - coil.shorted_share) {
  const double p = coil.shorted_share;
  g_ = 1 / coil.eddy_ohm + (p > 0 ? p * p / (p * copper_ohm_ + kShort_ohm) : 0);
  leakage_ = coil.leakage_H * turns_ * turns_;
  if (coil.jam == Jam::seated) y_ = coil.stroke_m;
}

double CoilDynamics::ohm(double i) const {
  double out = copper_ohm_ * turns_ + coil_.extra_ohm;
  if (coil_.film_ohm > 0) out += coil_.film_ohm / (1 + (i / kFilm_A) * (i / kFilm_A));
  if (coil_.heating_ohm > 0) out += coil_.heating_ohm * std::min(1.0, on_s_ / kJointTime_s);
  return out;
}

CoilDynamics::Rates CoilDynamics::rates(double volt, double i, double flux, double y, double speed,
                                        bool connected) const {
  const double level = flux / coil_.sat_Vs;
  const double im = flux * (coil_.gap_m + coil_.stroke_m - y) / coil_.k +
                    coil_.sat_A * std::pow(std::abs(level), 6) * level;
  Rates out{0, (turns_ * i - im) / g_, 0, 0};
  if (connected) out.i = (volt - ohm(i) * i - turns_ * out.flux) / leakage_;
  if (coil_.jam != Jam::none || !coil_.moves) return out;
  double force = flux * flux / (2 * coil_.k) - coil_.preload_N - coil_.spring_N_m * y -
                 coil_.damping_Ns_m * speed;
  const double stiff = kStop_N_m * coil_.preload_N / 3;
  if (y < 0) force += -y * stiff * std::max(0.0, 1 - speed * kStopDamping_s_m);
  if (y > coil_.stroke_m)
    force -= (y - coil_.stroke_m) * stiff * std::max(0.0, 1 + speed * kStopDamping_s_m);
  out.y = speed;
  out.speed = force / coil_.mass_kg;
  return out;
}

double CoilDynamics::induced_V() const {
  return turns_ * rates(0, 0, flux_, y_, speed_, false).flux;
}

// Heun's method; the fastest time constant (leakage over eddy) is ten steps long.
void CoilDynamics::step(double volt, double dt, bool connected) {
  if (!connected) i_ = 0;
  on_s_ = connected ? on_s_ + dt : 0;
  heat_ += i_ * i_ * copper_ohm_ * turns_ * dt;
  const Rates a = rates(volt, i_, flux_, y_, speed_, connected);
  const Rates b = rates(volt, i_ + dt * a.i, flux_ + dt * a.flux, y_ + dt * a.y,
                        speed_ + dt * a.speed, connected);
  i_ += dt / 2 * (a.i + b.i);
  flux_ += dt / 2 * (a.flux + b.flux);
  y_ += dt / 2 * (a.y + b.y);
  speed_ += dt / 2 * (a.speed + b.speed);
}

}  // namespace pinproof::simulated
