// What the parts of detection.h share: the bench's uncertainty and the list that grows. Private to
// detection*.cpp.
#pragma once

#include <string>
#include <utility>

#include "inspection/sight/detection.h"
#include "network/reach.h"

namespace pinproof::inspection::detecting {

struct DetectionScene {
  const profile::Profile& profile;
  const Capabilities& can;
  const metrology::AccuracyTable& meter;
  bool four_wire = true;
  double contact_u_ohm = 0;
  double thermometer_u_K = 0;
  DetectionLimits& out;

  /// Standard uncertainty of a reading near `ohm`.
  double u_ohm(double ohm) const;
  /// How far equal readings near `ohm` may lie apart (k = 1), whatever the meter's gain.
  double u_scatter(double ohm) const;
  /// U (k = 2) of a winding's resistance at its reference temperature.
  double U_winding(double ohm) const;
  /// Standard uncertainty of the pack's temperature.
  double u_pack_K() const;
  /// Greatest leak to a place that it is sure to be noticed against.
  double leak_ohm() const;

  void sure(Detection one) { out.sure.push_back(std::move(one)); }
  void doubt(std::string part, std::string fault, std::string why) {
    out.not_sure.push_back({std::move(part), std::move(fault), std::move(why)});
  }
};

inline std::string target_of(const profile::Part& part) {
  return std::string(name_of(part.kind())) + " " + part.name;
}

/// Resistance at the far end of a range of values, and of two of them side by side.
inline double beside(double a, double b) {
  return std::isinf(a) ? b : std::isinf(b) ? a : a * b / (a + b);
}

/// One state in which a pair of terminals is read, and what a good pack reads there.
struct DetectionVisit {
  network::PackState state;
  network::PairExpectation expected;
};
/// Where switches and contacts of this pair are read, by this bench.
std::vector<DetectionVisit> visits_of(const DetectionScene& scene,
                                      const network::ContactPair& pair);

/// Whether insulation is read between the two with both free of each other. The case is a place.
class Insulation {
 public:
  explicit Insulation(const DetectionScene& scene);
  bool between(const std::string& a, const std::string& b) const;

 private:
  std::vector<std::vector<std::string>> targets_;
};

void add_coils(DetectionScene& scene);
void add_drive(DetectionScene& scene);  ///< faults that only a driven coil shows
void add_contacts(DetectionScene& scene);
void add_wires(DetectionScene& scene);
void add_thermistors(DetectionScene& scene);
void add_pins(DetectionScene& scene);

}  // namespace pinproof::inspection::detecting
