// One physical pack: the true values behind a profile, with its faults, its
// lever, its pressures and its temperatures. Knows nothing of instruments.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <random>
#include <set>
#include <string>
#include <vector>

#include "profile/profile.h"
#include "simulated/faults.h"

namespace pinproof::simulated {

/// A resistive connection between two nodes, in siemens.
struct Branch {
  std::string a, b;
  double siemens;
};

enum class Jam { none, open, seated };
enum class DiodeState { as_designed, missing, reversed, shorted };

/// The true coil: electrical, magnetic and mechanical. The magnetic part is the
/// reference coil of 13 ohm and 33 mH scaled by similarity (time by L/R, flux by
/// L I, force by flux squared over k), so that all coils move alike.
struct TrueCoil {
  const profile::Part* part = nullptr;
  double ohm20 = 0;
  double extra_ohm = 0;      ///< constant joint
  double film_ohm = 0;       ///< collapses with current
  double heating_ohm = 0;    ///< grows under load
  double shorted_share = 0;  ///< p
  bool open = false;
  bool intermittent = false;
  double bypass_ohm = 0;     ///< 0: none
  double case_leak_ohm = 0;  ///< from the middle of the winding; 0: none
  bool leak_halves = false;  ///< every 10 K above 20 °C
  DiodeState diode = DiodeState::as_designed;
  Jam jam = Jam::none;
  // magnetic and mechanical, SI
  double leakage_H = 0, eddy_ohm = 0, k = 0, gap_m = 0, stroke_m = 0, sat_A = 0, sat_Vs = 0;
  double mass_kg = 0, preload_N = 0, spring_N_m = 0, damping_Ns_m = 0;
  bool moves = true;
  // state
  double celsius = 23;
};

class Pack {
 public:
  Pack(profile::Profile profile, std::uint64_t seed, const std::vector<PackFault>& faults);

  const profile::Profile& profile() const { return profile_; }
  std::vector<TrueCoil>& coils() { return coils_; }

  void move_lever(std::size_t position) { lever_ = position; }
  std::size_t lever() const { return lever_; }
  /// Pressure at each element; what is not named is vented.
  void press(std::map<std::string, double> pascals);

  /// Harness and pack joined, or apart. Only of a profile with a harness.
  void plug(bool plugged) { plugged_ = plugged; }
  /// Warmed through, or cooled again.
  void soak(std::optional<double> celsius) { soaked_ = celsius; }

  /// Everything that conducts at rest, but for the windings of the coils named in
  /// `left_out`. External pins are nodes by their number, "case" is a node, inner
  /// nodes have a '~'. Not const: a contact that chatters may be
  /// open at one look and closed at the next.
  std::vector<Branch> branches(const std::set<std::string>& left_out = {});
  /// The nodes of a coil's ends (inside the connector).
  std::string inner(const std::string& node) const;
  double coil_ohm(const TrueCoil& coil) const;  ///< at its own temperature, small current

  /// Copper warms by `joule` and then cools towards `ambient` over `seconds`.
  void heat(TrueCoil& coil, double joule);
  void cool(double seconds, double ambient);

 private:
  struct ContactState {
    double closed_ohm = 0, series_ohm = 0, trip_Pa = 0, reset_Pa = 0;
    bool pressed = false, stuck_open = false, stuck_closed = false, chatters = false;
    std::string leaks_from;              // an element whose air comes in
    double late_s = 0, wanted_at_s = 0;  // follows what it should be so much later
    bool wanted = false;
    std::uint32_t looks = 0;
  };
  void draw(std::uint64_t seed);
  void draw_coil(const profile::Part& part, double lot, std::mt19937_64& random);
  void apply(const PackFault& fault);
  void apply_to_coil(TrueCoil& coil, const PackFault& fault);
  void apply_to_contact(const profile::Part& part, const PackFault& fault);
  void apply_to_pins(const PackFault& fault);
  void flood(double ohm);
  void shift_row(const std::string& row);
  double ohm_of(const profile::Part& part);
  void add_coil(const TrueCoil& coil, bool with_winding, std::vector<Branch>& out) const;
  bool closed(const profile::Part& part, ContactState& state) const;

  profile::Profile profile_;
  std::vector<TrueCoil> coils_;
  std::map<std::string, ContactState> contacts_;
  std::map<std::string, double> wire_ohm_;          // infinite: open
  std::map<std::string, double> thermistor_scale_;  // 0: shorted, infinite: open
  std::map<std::string, std::string> behind_;       // pin -> inner node it reaches; empty: open
  std::vector<Branch> leaks_;
  std::size_t lever_ = 0;
  bool plugged_ = true;
  std::optional<double> soaked_;
  double time_s_ = 0;
  double fluid_celsius_ = 23;
};

}  // namespace pinproof::simulated
