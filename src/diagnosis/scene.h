// The pack, the conditions it can be put into, and what a lead, a meter or a source
// would read there with given faults. Pure.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "diagnosis/suspect.h"
#include "network/edit.h"
#include "network/model.h"

namespace pinproof::diagnosis {

enum class ProbeKind {
  ohm,      ///< resistance between two terminals, by a meter
  drop,     ///< four-wire under load: volt from c to d for each ampere from a to b
  fraction  ///< a source between a and b, a voltmeter from c to d: the share of the voltage there
};

/// One question that a bench can be asked.
struct Probe {
  ProbeKind kind = ProbeKind::ohm;
  network::Sight sight;
  std::size_t situation = 0;  ///< index into Scene::situations()
  friend bool operator==(const Probe&, const Probe&) = default;
};

/// A suspect with its size: one fault of an explanation.
struct Guess {
  const Suspect* suspect = nullptr;
  double size = 1;
};

/// What a reading would be, and how much good packs differ there.
struct Expected {
  double ohm = 0;    ///< or the fraction
  double y = 0;      ///< as compared: see y_of()
  double slope = 0;  ///< dy / d(ohm)
  double vague = 0;  ///< standard deviation of y that no part's tolerance explains
};

class Scene {
 public:
  /// `model` must outlive the scene.
  Scene(const network::Model& model, std::vector<network::Situation> situations);

  const network::Model& model() const { return *model_; }
  const std::vector<network::Situation>& situations() const { return situations_; }
  const network::GoodPack& good(std::size_t situation) const { return good_[situation]; }
  std::size_t situation(const network::Situation& wanted);  ///< adds it where it is new

  /// Least resistance that counts as open.
  double open_ohm() const { return open_ohm_; }

  network::Altering altered(std::size_t situation, const std::vector<Guess>& guesses) const;
  Expected expected(const Probe& probe, const network::Resistances& r) const;
  /// Readings are compared as y = asinh(ohm / 1.25): ohms near nothing, logarithms above,
  /// so that noise of some milliohms beside tolerances of some percent is one size
  /// everywhere. Beyond open_ohm() all is alike. Fractions are compared as they are.
  double y_of(const Probe& probe, double ohm) const;
  double slope_of(const Probe& probe, double ohm) const;

 private:
  const network::Model* model_;
  std::vector<network::Situation> situations_;
  std::vector<network::GoodPack> good_;
  double open_ohm_;
};

/// The conditions that a pack of this profile is worth probing in: every lever position
/// at rest, and each element alone and all together under air.
std::vector<network::Situation> usual_situations(const profile::Profile& profile);

/// Insulation differs by factors between good packs, and with the weather: this is the standard
/// deviation of its logarithm (our estimate, no source).
inline constexpr double kInsulationSpread = 1.2;

/// Input resistance of the voltmeter in a fraction probe, ohm.
inline constexpr double kVoltmeter_ohm = 10e6;

}  // namespace pinproof::diagnosis
