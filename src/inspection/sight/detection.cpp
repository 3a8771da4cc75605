#include "inspection/sight/detection.h"

#include <algorithm>
#include <cmath>
#include <set>

#include "inspection/sight/detection_scene.h"
#include "metrology/copper.h"

namespace pinproof::inspection {
namespace detecting {
namespace {

constexpr double kSoak_K = 0.5;     // as the judge takes it: a pack as warm as the air beside it
constexpr double kFourWire = 1e6;   // below; above, the plan reads by two wires
constexpr double kLeakShare = 0.9;  // of the insulation limit

std::string function_for(const DetectionScene& scene, double ohm) {
  return scene.four_wire && ohm < kFourWire ? "ohm-4w" : "ohm-2w";
}

double u_at(const DetectionScene& scene, double range_for, double shown) {
  const std::string function = function_for(scene, range_for);
  const auto range = metrology::pick_range(scene.meter, function, range_for);
  const double u =
      range ? metrology::standard_uncertainty(scene.meter, function, *range, shown).value_or(0) : 0;
  // Above some kiloohms a lead's contact is nothing.
  const bool contacts = function == "ohm-2w" && range_for < kFourWire;
  return contacts ? std::hypot(u, std::sqrt(2.0) * scene.contact_u_ohm) : u;
}

std::size_t positions_of(const DetectionScene& scene) {
  if (!scene.profile.lever) return 1;
  return scene.can.lever ? scene.profile.lever->positions.size() : 1;
}

network::PackState at(const DetectionScene& scene, std::size_t position) {
  network::PackState state;
  if (scene.profile.lever) state.lever = position;
  return state;
}

bool contains(const std::vector<std::string>& names, const std::string& name) {
  return std::find(names.begin(), names.end(), name) != names.end();
}

}  // namespace

double DetectionScene::u_ohm(double ohm) const { return u_at(*this, ohm, ohm); }
double DetectionScene::u_scatter(double ohm) const { return u_at(*this, ohm, 0); }
double DetectionScene::u_pack_K() const { return std::hypot(thermometer_u_K, kSoak_K); }

double DetectionScene::U_winding(double ohm) const {
  const double by_K = ohm / (metrology::kCopperInferredZero + kWorkshopCelsius.low);
  return 2 * std::hypot(u_ohm(ohm), by_K * u_pack_K());
}

double DetectionScene::leak_ohm() const {
  const double least = profile.insulation_ohm;
  return std::min(kLeakShare * least, least - 2 * 2 * u_ohm(least));
}

// The rest state for what conducts there, every lever position for lever contacts, and air at each
// switch's own element.
std::vector<DetectionVisit> visits_of(const DetectionScene& scene,
                                      const network::ContactPair& pair) {
  std::vector<network::PackState> states;
  const bool on_lever =
      std::any_of(pair.parts.begin(), pair.parts.end(), [](const auto* p) { return p->contact(); });
  for (std::size_t p = 0; p < (on_lever ? positions_of(scene) : 1); ++p)
    states.push_back(at(scene, p));
  for (const profile::Part* part : pair.parts) {
    if (!part->pressure_switch() || !scene.can.lever) continue;
    states.push_back(at(scene, 0));
    states.back().applied = {part->pressure_switch()->element};
  }
  std::vector<DetectionVisit> out;
  for (const network::PackState& state : states)
    if (const auto expected = network::expectation(scene.profile, pair, state))
      out.push_back({state, *expected});
  return out;
}

// As the check chooses them: every circuit that is free of the case, in the first state where it
// is.
Insulation::Insulation(const DetectionScene& scene) {
  std::set<std::string> done;
  for (std::size_t p = 0; p < positions_of(scene); ++p) {
    const auto circuits = network::circuits(scene.profile, at(scene, p));
    for (std::size_t i = 1; i < circuits.size(); ++i) {
      const auto& circuit = circuits[i];
      if (std::all_of(circuit.begin(), circuit.end(),
                      [&](const auto& pin) { return done.contains(pin); }))
        continue;
      targets_.push_back(circuit);
      done.insert(circuit.begin(), circuit.end());
    }
  }
}

bool Insulation::between(const std::string& a, const std::string& b) const {
  return std::any_of(targets_.begin(), targets_.end(), [&](const auto& circuit) {
    return contains(circuit, a) != contains(circuit, b);
  });
}

}  // namespace detecting

DetectionLimits detection_limits(const profile::Profile& profile, const Capabilities& can,
                                 const metrology::AccuracyTable& meter, bool four_wire,
                                 double contact_u_ohm, double thermometer_u_K) {
  DetectionLimits out;
  detecting::DetectionScene scene{profile,         can, meter, four_wire, contact_u_ohm,
                                  thermometer_u_K, out};
  detecting::add_coils(scene);
  detecting::add_drive(scene);
  detecting::add_wires(scene);
  detecting::add_contacts(scene);
  detecting::add_thermistors(scene);
  detecting::add_pins(scene);
  return out;
}

}  // namespace pinproof::inspection
