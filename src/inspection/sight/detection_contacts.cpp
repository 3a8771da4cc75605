// Switches, lever contacts, wires and the thermistor.
#include <algorithm>
#include <cmath>

#include "inspection/sight/detection_scene.h"
#include "profile/profile.h"

namespace pinproof::inspection::detecting {
namespace {

using profile::Part;

constexpr double kGauge = 0.05;  // of a test pressure: what its gauge may be off

struct DetectableContact {
  const Part& part;
  Interval ohm;  // when closed: series resistor and contact
  std::optional<Interval> series;
  double closed_ohm = 0;
};

DetectableContact contact_of(const Part& part) {
  const auto& series =
      part.pressure_switch() ? part.pressure_switch()->series_ohm : part.contact()->series_ohm;
  const double most =
      part.pressure_switch() ? part.pressure_switch()->closed_ohm : part.contact()->closed_ohm;
  return {part, {series ? series->low : 0, (series ? series->high : 0) + most}, series, most};
}

// Where a good pack's pair conducts through this contact alone.
const DetectionVisit* alone(const DetectionScene& scene, const network::ContactPair& pair,
                            const Part& part, const std::vector<DetectionVisit>& visits) {
  for (const DetectionVisit& visit : visits) {
    const auto on = [&](const Part* p) {
      return network::is_closed(scene.profile, *p, visit.state).value_or(false);
    };
    if (on(&part) && std::count_if(pair.parts.begin(), pair.parts.end(), on) == 1) return &visit;
  }
  return nullptr;
}

// Where it must be open, and a pair that conducts through it shows.
bool shows_closed(const DetectionScene& scene, const DetectableContact& c,
                  const std::vector<DetectionVisit>& visits) {
  return std::any_of(visits.begin(), visits.end(), [&](const DetectionVisit& visit) {
    if (network::is_closed(scene.profile, c.part, visit.state).value_or(true)) return false;
    if (!visit.expected.closed) return c.ohm.high < scene.profile.open_ohm;
    const Interval& good = visit.expected.ohm;
    return beside(good.high, c.ohm.high) < good.low - 2 * scene.u_ohm(good.high);
  });
}

void add_series(DetectionScene& scene, const DetectableContact& c, const DetectionVisit& visit,
                const std::string& by) {
  const Interval& good = visit.expected.ohm;
  const double U = 2 * scene.u_ohm(good.high);
  const std::string part = target_of(c.part);
  Detection one{.part = part,
                .fault = "contact-resistance",
                .size = good.high - good.low + U,
                .unit = Unit::ohm,
                .sized = true,
                .by = by};
  scene.sure(one);
  if (!c.series) return;
  one.fault = "series-drift", one.unit = Unit::percent;
  one.size = 100 * ((good.high + U) / c.series->low - 1);
  scene.sure(one);
  const double wires = good.high - c.ohm.high;
  one.below = true;
  one.size = 100 * ((c.series->low - U - c.closed_ohm - wires) / c.series->high - 1);
  scene.sure(one);
  if (c.closed_ohm + wires < c.series->low - U)
    scene.sure({.part = part, .fault = "series-short", .by = by});
}

void add_switch(DetectionScene& scene, const Part& part) {
  const auto& s = *part.pressure_switch();
  const std::string name = target_of(part), by = "pressure switches";
  if (!scene.can.lever) return;
  // The earliest that a good one may trip is where it is to be back at rest.
  const double test = test_pressure_Pa(scene.profile, {s.element}) * (1 + kGauge);
  scene.sure({.part = name,
              .fault = "trip-high",
              .size = 100 * (test / s.reset_Pa - 1),
              .unit = Unit::percent,
              .sized = true,
              .by = by + ", under test air"});
  if (s.rest == profile::Rest::closed)
    scene.doubt(name, "chatters",
                "it is to be open under air, and one that chatters then opens too");
  else if (scene.can.tie)
    scene.sure(
        {.part = name, .fault = "chatters", .by_chance = true, .by = by + ", several readings"});
  else
    scene.doubt(name, "chatters", "only a person who watches the reading sees it jump");
  scene.doubt(name, "air-leak", "only its own element is under air; the gear test finds it");
  scene.doubt(name, "late", "nothing limits the time in which it has to follow");
}

void add_contact(DetectionScene& scene, const network::ContactPair& pair, const Part& part) {
  const auto visits = visits_of(scene, pair);
  const DetectableContact c = contact_of(part);
  const std::string name = target_of(part);
  const std::string by = part.pressure_switch() ? "pressure switches" : "lever table";
  const char* unmoved = "this bench moves neither lever nor air";
  if (shows_closed(scene, c, visits))
    scene.sure({.part = name, .fault = "stuck-closed", .by = by});
  else
    scene.doubt(name, "stuck-closed", scene.can.lever ? "in no state must it be open" : unmoved);
  if (const DetectionVisit* visit = alone(scene, pair, part, visits)) {
    scene.sure({.part = name, .fault = "stuck-open", .by = by});
    add_series(scene, c, *visit, by);
  } else {
    for (const char* fault : {"stuck-open", "contact-resistance"})
      scene.doubt(
          name, fault,
          scene.can.lever ? "another contact conducts beside it wherever it does" : unmoved);
  }
  if (part.pressure_switch())
    add_switch(scene, part);
  else
    scene.doubt(
        name, "intermittent",
        scene.can.lever ? "a position is read for a moment; the lever test looks longer" : unmoved);
}

bool is_terminal(const profile::Profile& profile, const std::string& node) {
  return node == profile::kCase || profile.is_pin(node);
}

// Middle resistances of the parts that leave a splice for a terminal of their own.
std::vector<double> arms_of(const profile::Profile& profile, const std::string& splice) {
  std::vector<double> out;
  for (const Part& part : profile.parts)
    for (const std::size_t e : {std::size_t{0}, std::size_t{1}})
      if ((part.coil() || part.resistor()) && part.between[e] == splice &&
          is_terminal(profile, part.between[1 - e]))
        out.push_back(part.coil() ? part.coil()->resistance_ohm.high
                                  : part.resistor()->resistance_ohm.high);
  return out;
}

// U of a wire's resistance; NaN where nothing measures it.
double U_wire(const DetectionScene& scene, const Part& wire) {
  const auto& profile = scene.profile;
  const bool ends[] = {is_terminal(profile, wire.between[0]),
                       is_terminal(profile, wire.between[1])};
  if (ends[0] && ends[1]) return 2 * scene.u_ohm(wire.wire()->max_ohm);
  if (!ends[0] && !ends[1]) return std::nan("");
  const auto arms = arms_of(profile, wire.between[ends[0] ? 1 : 0]);
  if (arms.size() < 2) return std::nan("");
  const double random = 0.5 * std::sqrt(3.0) * scene.u_scatter(arms[0] + arms[1]);
  const double common =
      std::abs(scene.u_ohm(arms[0]) + scene.u_ohm(arms[1]) - scene.u_ohm(arms[0] + arms[1])) / 2;
  return 2 * std::hypot(random, common);
}

}  // namespace

void add_wires(DetectionScene& scene) {
  for (const Part& part : scene.profile.parts) {
    if (!part.wire()) continue;
    const double U = U_wire(scene, part);
    if (std::isnan(U)) {
      scene.doubt(target_of(part), "any", "its splice cannot be reached from two other terminals");
      continue;
    }
    scene.sure({.part = target_of(part), .fault = "open", .by = "wire resistance"});
    for (const char* fault : {"resistance", "broken-strands"})
      scene.sure({.part = target_of(part),
                  .fault = fault,
                  .size = part.wire()->max_ohm + U,
                  .unit = Unit::ohm,
                  .sized = true,
                  .by = "wire resistance"});
  }
}

void add_contacts(DetectionScene& scene) {
  for (const network::ContactPair& pair : network::contact_pairs(scene.profile))
    for (const Part* part : pair.parts) add_contact(scene, pair, *part);
}

// A good one may be off by its tolerance on one side, and must come out on the other.
void add_thermistors(DetectionScene& scene) {
  for (const Part& part : scene.profile.parts) {
    if (!part.thermistor() || !network::leads_of(scene.profile, part)) continue;
    const std::string name = target_of(part), by = "thermistor against thermometer";
    scene.sure({.part = name, .fault = "open", .by = by});
    scene.sure({.part = name, .fault = "shorted", .by = by});
    if (!scene.can.celsius) {
      scene.doubt(name, "drift",
                  "without a thermometer beside the pack there is nothing to compare");
      continue;
    }
    double up = 0, down = 0;
    for (const double t :
         {kWorkshopCelsius.low, kWorkshopCelsius.middle(), kWorkshopCelsius.high}) {
      const double ohm = profile::thermistor_ohm(*part.thermistor(), t).value_or(NAN);
      const double colder = profile::thermistor_ohm(*part.thermistor(), t - 1).value_or(NAN);
      const double by_ohm = scene.u_ohm(ohm) / (colder - ohm);
      const double shift_K =
          2 * part.thermistor()->tolerance_K + 2 * std::hypot(scene.u_pack_K(), by_ohm);
      const auto moved = [&](double to) {
        return 100 * (profile::thermistor_ohm(*part.thermistor(), to).value_or(NAN) / ohm - 1);
      };
      up = std::max(up, moved(t - shift_K)), down = std::min(down, moved(t + shift_K));
    }
    Detection drift{
        .part = name, .fault = "drift", .size = up, .unit = Unit::percent, .sized = true, .by = by};
    scene.sure(drift);
    drift.below = true, drift.size = down;
    scene.sure(drift);
  }
}

}  // namespace pinproof::inspection::detecting
