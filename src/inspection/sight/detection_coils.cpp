// Coils at rest: windings, joints and leaks. At the limits of the workshop's temperature a
// resistance at 20 °C moves by copper's law, a joint does not: the worse end counts.
#include <algorithm>
#include <cmath>

#include "inspection/checks/coil_expected.h"
#include "inspection/sight/detection_scene.h"
#include "metrology/copper.h"

namespace pinproof::inspection::detecting {
namespace {

using profile::Part;

constexpr double kHalves_K = 10;  // wet insulation halves with so many kelvin: a rule of thumb

constexpr const char* kByLimits = "coil resistance";
constexpr const char* kByMatch = "coil resistance, matched coils";

struct Winding {
  const Part& part;
  double low, high;         // at the reference temperature
  double wires;             // most that the wires on the way add
  double cold, warm;        // copper ratio at the ends of the workshop's temperatures
  double U;                 // of the resistance at the reference temperature
  std::size_t set = 1;      // coils that are matched with it, itself included
  double match = INFINITY;  // spread allowed in the set, and what readings add, as shares
  double noise = 0;
};

Winding winding_of(const DetectionScene& scene, const Part& part, const network::Leads& leads) {
  const auto& coil = *part.coil();
  const double t = coil.resistance_celsius;
  Winding out{part,
              coil.resistance_ohm.low,
              coil.resistance_ohm.high,
              leads.wires_max_ohm,
              metrology::copper_ratio(kWorkshopCelsius.low, t),
              metrology::copper_ratio(kWorkshopCelsius.high, t),
              scene.U_winding(coil.resistance_ohm.high + leads.wires_max_ohm)};
  if (!coil.matched_within_percent) return out;
  double least = *coil.matched_within_percent;
  out.set = 0;
  for (const Part& other : scene.profile.parts) {
    if (!are_equal(part, other) || !other.coil()->matched_within_percent) continue;
    ++out.set;
    least = std::min(least, *other.coil()->matched_within_percent);
  }
  if (out.set < 2) return out;
  out.match = least / 100;
  // What is read scatters, and the check guards its limit with the whole uncertainty of both.
  out.noise = 2 * std::sqrt(2.0) * (scene.u_scatter(out.high) + scene.u_ohm(out.high)) / out.low;
  return out;
}

bool limits_judge(const DetectionScene& scene) { return scene.can.celsius; }

// What lies beside the winding and takes it below its low limit.
double bypass_by_limits(const Winding& w) {
  const double winding = w.high * w.cold;
  const double target = (w.low - w.U) * w.cold - w.wires;
  return target > 0 ? winding * target / (winding - target) : 0;
}

double bypass_by_match(const Winding& w) {
  const double share = (2 * w.match + w.noise) * (1 + w.wires / w.low);
  return share < 1 ? w.low * w.cold * (1 - share) / share : 0;
}

// The lowest of its set by as much as is allowed, until the joint makes it the highest.
double joint_by_match(const Winding& w) {
  const double m = w.match, n = w.noise;
  if (m + n >= 1) return INFINITY;
  return (w.high * w.warm + w.wires) * ((1 - m) * (m + n) + m) / (1 - m - n);
}

double joint_by_limits(const Winding& w) { return (w.high + w.wires - w.low + w.U) * w.warm; }

double turns_by_limits(const Winding& w) {
  return 100 * (1 - (w.low - w.U - w.wires / w.cold) / w.high);
}

double turns_by_match(const Winding& w) {
  return 100 * (2 * w.match + w.noise) * (1 + w.wires / w.low);
}

void add(DetectionScene& scene, const Winding& w, const char* fault, Unit unit, double by_limits,
         double by_match, bool below = false) {
  if (!limits_judge(scene)) by_limits = below ? 0 : INFINITY;
  const bool matched = below ? by_match > by_limits : by_match < by_limits;
  const double size = matched ? by_match : by_limits;
  if (!(below ? size > 0 : std::isfinite(size)))
    return scene.doubt(target_of(w.part), fault,
                       "without a thermometer beside the pack no resistance is judged");
  scene.sure({.part = target_of(w.part),
              .fault = fault,
              .below = below,
              .size = size,
              .unit = unit,
              .sized = true,
              .by = matched ? kByMatch : kByLimits});
}

void add_winding(DetectionScene& scene, const Winding& w) {
  const bool in_set = w.set >= 2;
  scene.sure({.part = target_of(w.part), .fault = "open", .by = kByLimits});
  add(scene, w, "shorted", Unit::ohm, bypass_by_limits(w), in_set ? bypass_by_match(w) : 0, true);
  add(scene, w, "shorted-turns", Unit::percent, turns_by_limits(w),
      in_set ? turns_by_match(w) : INFINITY);
  for (const char* fault : {"joint", "film"})
    add(scene, w, fault, Unit::ohm, joint_by_limits(w), in_set ? joint_by_match(w) : INFINITY);
}

std::string far_end(const Part& coil) {
  return coil.between[coil.between[1] == profile::kCase ? 1 : 0];
}
std::string control_end(const Part& coil) {
  return coil.between[coil.between[1] == profile::kCase ? 0 : 1];
}

// A leak from one control end to the next lies across the coil, behind the other one. Both are low
// then, so a set tells only by a third.
double cross_leak_ohm(const DetectionScene& scene, const Winding& w, const Winding& other) {
  const bool same = w.match == other.match && w.low == other.low && w.high == other.high;
  const bool tells = w.set >= (same ? 3U : 2U);
  const double alone =
      std::max(limits_judge(scene) ? bypass_by_limits(w) : 0, tells ? bypass_by_match(w) : 0);
  return alone - other.high * other.warm;
}

void add_cross_leak(DetectionScene& scene, const Insulation& insulation, const Winding& w,
                    const Winding& next) {
  Detection out{.part = target_of(w.part),
                .fault = "cross-leak",
                .below = true,
                .unit = Unit::ohm,
                .sized = true,
                .by = kByLimits};
  const bool apart = insulation.between(control_end(w.part), control_end(next.part));
  if (apart) {
    out.size = scene.leak_ohm(), out.by = "insulation";
  } else if (far_end(w.part) == far_end(next.part)) {
    out.size = std::max(cross_leak_ohm(scene, w, next), cross_leak_ohm(scene, next, w));
    if (w.set >= 2 || next.set >= 2) out.by = kByMatch;
  }
  if (out.size > 0) return scene.sure(out);
  scene.doubt(out.part, out.fault, "it lies across coils and changes their resistance too little");
}

void add_leaks(DetectionScene& scene, const Insulation& insulation, const Winding& w) {
  const std::string part = target_of(w.part);
  if (w.part.between[0] == profile::kCase || w.part.between[1] == profile::kCase) return;
  const std::string terminal = network::leads_of(scene.profile, w.part)->to;
  if (!insulation.between(terminal, std::string(profile::kCase)))
    return scene.doubt(part, "case-leak", "its circuit is never free of the case");
  Detection leak{.part = part,
                 .fault = "case-leak",
                 .below = true,
                 .size = scene.leak_ohm(),
                 .unit = Unit::ohm,
                 .sized = true,
                 .by = "insulation"};
  scene.sure(leak);
  leak.fault = "hot-insulation";
  leak.size *= std::exp2((kWorkshopCelsius.low - 20) / kHalves_K);
  leak.by = "insulation (size at 20 °C, read in the workshop)";
  scene.sure(leak);
}

}  // namespace

void add_coils(DetectionScene& scene) {
  const Insulation insulation(scene);
  std::vector<Winding> windings;
  for (const Part& part : scene.profile.parts) {
    if (!part.coil()) continue;
    const auto leads = network::leads_of(scene.profile, part);
    if (leads)
      windings.push_back(winding_of(scene, part, *leads));
    else
      scene.doubt(target_of(part), "any", "no terminal reaches it by wires alone");
  }
  for (std::size_t i = 0; i < windings.size(); ++i) {
    add_winding(scene, windings[i]);
    add_leaks(scene, insulation, windings[i]);
    if (windings.size() > 1)
      add_cross_leak(scene, insulation, windings[i], windings[(i + 1) % windings.size()]);
  }
}

}  // namespace pinproof::inspection::detecting
