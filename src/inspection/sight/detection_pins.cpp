// Pins, and pairs of them: what each reads against the node it has in common with its like.
#include <algorithm>
#include <cmath>
#include <optional>

#include "inspection/sight/detection_scene.h"
#include "metrology/copper.h"

namespace pinproof::inspection::detecting {
namespace {

using profile::Part;

constexpr double kBridge_ohm = 0.1;  // metal between two pins
constexpr double kLeak_ohm = 1e5;    // a leak as the simulator states it
constexpr std::size_t kRow = 4;      // pins of a row that is shifted by one

// A pin's place in the pack: what it reads against `common` in each state that is read.
struct PinRole {
  std::string pin;
  std::string common;  // "case", a splice's own pin, or empty: nothing is there
  bool hub = false;    // the common node itself
  bool quiet = true;   // neither switch nor contact: the same in all states
  std::vector<const Part*> parts;
  std::optional<network::ContactPair> pair;
  Interval ohm{INFINITY, INFINITY};
};

class Roles {
 public:
  explicit Roles(const DetectionScene& scene);
  const PinRole& of(const std::string& pin) const {
    return *std::find_if(roles_.begin(), roles_.end(),
                         [&](const PinRole& r) { return r.pin == pin; });
  }
  const std::vector<PinRole>& all() const { return roles_; }
  /// What one reads where the other is read, in each such state.
  struct Both {
    Interval a, b;
  };
  std::vector<Both> readings(const PinRole& a, const PinRole& b) const;
  double U(double ohm) const { return std::isfinite(ohm) ? 2 * scene_.u_ohm(ohm) : 0; }

 private:
  void place(const Part& part);
  std::optional<Interval> in(const PinRole& role, const network::PackState& state) const;

  const DetectionScene& scene_;
  std::vector<PinRole> roles_;
};

// At the temperatures of a workshop.
Interval ohm_of(const Part& part) {
  if (part.coil()) {
    const double t = part.coil()->resistance_celsius;
    return {part.coil()->resistance_ohm.low * metrology::copper_ratio(kWorkshopCelsius.low, t),
            part.coil()->resistance_ohm.high * metrology::copper_ratio(kWorkshopCelsius.high, t)};
  }
  if (part.resistor()) return part.resistor()->resistance_ohm;
  const double off = part.thermistor()->tolerance_K;
  return {
      profile::thermistor_ohm(*part.thermistor(), kWorkshopCelsius.high + off).value_or(0),
      profile::thermistor_ohm(*part.thermistor(), kWorkshopCelsius.low - off).value_or(INFINITY)};
}

Roles::Roles(const DetectionScene& scene) : scene_(scene) {
  for (const auto& pin : scene.profile.connector.pins)
    roles_.push_back({.pin = pin.number, .common = "", .parts = {}, .pair = {}});
  for (const Part& part : scene.profile.parts) place(part);
  for (const auto& pair : network::contact_pairs(scene.profile))
    for (PinRole& role : roles_)
      if (role.pin == pair.from || role.pin == pair.to) {
        role.common = role.pin == pair.from ? pair.to : pair.from;
        role.parts.assign(pair.parts.begin(), pair.parts.end());
        role.pair = pair, role.quiet = false;
      }
  // A node that several have in common is none's own pin.
  for (PinRole& role : roles_)
    if (std::count_if(roles_.begin(), roles_.end(),
                      [&](const PinRole& r) { return r.common == role.pin; }) > 1)
      role.hub = true, role.common = role.pin, role.ohm = {0, 0};
}

void Roles::place(const Part& part) {
  if (part.pressure_switch() || part.contact() || part.diode()) return;
  const bool wire = part.wire();
  const auto leads = wire ? std::nullopt : network::leads_of(scene_.profile, part);
  const std::string ends[] = {wire    ? part.between[0]
                              : leads ? leads->from
                                      : "",
                              wire    ? part.between[1]
                              : leads ? leads->to
                                      : ""};
  for (const std::size_t e : {std::size_t{0}, std::size_t{1}})
    for (PinRole& role : roles_) {
      if (role.pin != ends[e] || role.hub) continue;
      // The ground's own wire, and a feed to its splice.
      if (wire)
        role.hub = true, role.common = ends[1 - e], role.ohm = {0, part.wire()->max_ohm};
      else
        role.common = ends[1 - e], role.ohm = ohm_of(part);
      role.parts.push_back(&part);
    }
}

std::optional<Interval> Roles::in(const PinRole& role, const network::PackState& state) const {
  if (!role.pair) return role.ohm;
  const auto expected = network::expectation(scene_.profile, *role.pair, state);
  if (!expected) return std::nullopt;
  return expected->closed ? expected->ohm : Interval{INFINITY, INFINITY};
}

std::vector<Roles::Both> Roles::readings(const PinRole& a, const PinRole& b) const {
  std::vector<network::PackState> states{rest_state(scene_.profile)};
  for (const PinRole* role : {&a, &b})
    if (role->pair)
      for (const DetectionVisit& visit : visits_of(scene_, *role->pair))
        states.push_back(visit.state);
  std::vector<Both> out;
  for (const network::PackState& state : states) {
    const auto at_a = in(a, state), at_b = in(b, state);
    if (at_a && at_b) out.push_back({*at_a, *at_b});
  }
  return out;
}

// Exchanged, one of the two reads outside what belongs to its pin.
bool differ(const Roles& roles, const PinRole& a, const PinRole& b) {
  if (a.common.empty() && b.common.empty()) return false;
  // Elsewhere there is nothing that either could be taken for; a feed is read through every coil.
  if (a.common != b.common) return true;
  const auto both = roles.readings(a, b);
  return std::any_of(both.begin(), both.end(), [&](const Roles::Both& r) {
    return r.a.high + roles.U(r.a.high) < r.b.low || r.b.high + roles.U(r.b.high) < r.a.low;
  });
}

// Joined by metal, one of the two reads too low; an open contact counts from the open limit down.
bool bridge_shows(const Roles& roles, const PinRole& a, const PinRole& b, double open_ohm) {
  const bool to_hub = a.hub || b.hub;
  if (!to_hub && (a.common.empty() || a.common != b.common)) return false;
  const auto both = roles.readings(a, b);
  return std::any_of(both.begin(), both.end(), [&](const Roles::Both& r) {
    const auto falls = [&](const PinRole& own, const Interval& good, const Interval& other) {
      if (own.hub) return false;
      const double reads = beside(good.high, (to_hub ? 0 : other.high) + 2 * kBridge_ohm);
      return reads < (std::isinf(good.low) ? open_ohm : good.low - roles.U(good.high));
    };
    return falls(a, r.a, r.b) || falls(b, r.b, r.a);
  });
}

struct Pins {
  DetectionScene& scene;
  const Insulation& insulation;
  const Roles& roles;
};

void add_single(const Pins& p, const PinRole& role) {
  const std::string name = "pin " + role.pin;
  p.scene.sure({.part = name, .fault = "open", .by = "every check that reads through it"});
  if (p.insulation.between(role.pin, std::string(profile::kCase)))
    p.scene.sure({.part = name,
                  .fault = "debris",
                  .below = true,
                  .size = p.scene.leak_ohm(),
                  .unit = Unit::ohm,
                  .sized = true,
                  .by = "insulation"});
  else
    p.scene.doubt(name, "debris", "its circuit is never free of the case where insulation is read");
}

void add_pair(const Pins& p, const PinRole& a, const PinRole& b) {
  const std::string name = "pin " + a.pin;
  const bool apart = p.insulation.between(a.pin, b.pin);
  const auto tell = [&](const char* fault, bool sure, const char* by, const char* why) {
    if (sure)
      p.scene.sure({.part = name, .fault = fault, .other = b.pin, .by = by});
    else
      p.scene.doubt(name, std::string(fault) + " " + b.pin, why);
  };
  tell("bridge", apart || bridge_shows(p.roles, a, b, p.scene.profile.open_ohm),
       apart ? "insulation" : "resistances of both circuits",
       "the two are joined inside the pack wherever they are read");
  tell("leak", apart && p.scene.leak_ohm() > kLeak_ohm, "insulation",
       "parts of far less resistance join the two inside the pack");
  tell("swap", differ(p.roles, a, b), "resistances, lever table and switches",
       "what belongs to the one cannot be told from the other");
}

// Rows of four, each pin with what belongs to the next.
void add_shifted(const Pins& p) {
  const auto& all = p.roles.all();
  for (std::size_t i = 0; i + kRow <= all.size(); ++i) {
    const std::string row = all[i].pin + "-" + all[i + kRow - 1].pin;
    bool seen = false;
    for (std::size_t k = i; k + 1 < i + kRow; ++k)
      seen = seen || differ(p.roles, all[k], all[k + 1]);
    if (seen)
      p.scene.sure({.part = "pack",
                    .fault = "mis-pinned",
                    .other = row,
                    .by = "resistances, lever table and switches"});
    else
      p.scene.doubt("pack", "mis-pinned " + row, "its pins all carry equal parts");
  }
}

void add_water(const Pins& p) {
  for (const auto& row : p.scene.profile.connector.face)
    for (std::size_t i = 1; i < row.size(); ++i)
      if (!row[i - 1].empty() && !row[i].empty() && p.insulation.between(row[i - 1], row[i]))
        return p.scene.sure({.part = "pack",
                             .fault = "water",
                             .below = true,
                             .size = p.scene.leak_ohm(),
                             .unit = Unit::ohm,
                             .sized = true,
                             .by = "insulation"});
  p.scene.doubt("pack", "water", "no neighbours on the connector's face are apart inside the pack");
}

}  // namespace

void add_pins(DetectionScene& scene) {
  const Insulation insulation(scene);
  const Roles roles(scene);
  const Pins pins{scene, insulation, roles};
  const auto& all = roles.all();
  for (std::size_t i = 0; i < all.size(); ++i) {
    add_single(pins, all[i]);
    for (std::size_t k = i + 1; k < all.size(); ++k) add_pair(pins, all[i], all[k]);
  }
  add_shifted(pins);
  add_water(pins);
}

}  // namespace pinproof::inspection::detecting
