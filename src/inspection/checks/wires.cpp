// Conductors of the pack itself. A wire between two terminals is measured
// directly; one that ends at a splice by three readings from its pin P to the
// coil pins A and B behind the splice: R_P = (R_PA + R_PB - R_AB) / 2.
#include "inspection/checks/wires.h"

#include <cmath>

#include "inspection/checks/check.h"
#include "quantity/text.h"

namespace pinproof::inspection {
namespace {

using profile::Part;
using profile::PartKind;

constexpr std::string_view kName = "wire";
constexpr int kRepeats = 3;

record::Key key(const Part& wire, std::string role) {
  return {std::string(kName), wire.name, std::move(role)};
}

bool is_terminal(const profile::Profile& profile, const std::string& node) {
  return node == profile::kCase || profile.is_pin(node);
}

struct Star {
  std::string pin;                // the wire's own terminal
  std::vector<const Part*> arms;  // two parts that leave the splice for a terminal of their own
  std::string far[2];
};

// The splice must have two arms with a known resistance.
std::optional<Star> star_of(const profile::Profile& profile, const Part& wire) {
  for (const std::size_t end : {std::size_t{0}, std::size_t{1}}) {
    const std::string& splice = wire.between[1 - end];
    if (!is_terminal(profile, wire.between[end]) || is_terminal(profile, splice)) continue;
    Star star{wire.between[end], {}, {}};
    for (const Part& part : profile.parts) {
      if (part.kind() != PartKind::coil && part.kind() != PartKind::resistor) continue;
      for (const std::size_t e : {std::size_t{0}, std::size_t{1}})
        if (part.between[e] == splice && is_terminal(profile, part.between[1 - e]) &&
            star.arms.size() < 2) {
          star.far[star.arms.size()] = part.between[1 - e];
          star.arms.push_back(&part);
        }
    }
    if (star.arms.size() == 2) return star;
  }
  return std::nullopt;
}

double middle_ohm(const Part& part) {
  return part.coil() ? part.coil()->resistance_ohm.middle()
                     : part.resistor()->resistance_ohm.middle();
}

void add(const profile::Profile& profile, Plan& plan, const Part& wire, const std::string& role,
         const std::string& from, const std::string& to, double expected) {
  plan.add({.key = key(wire, role),
            .phase = Phase::rest,
            .state = rest_state(profile),
            .action = OhmStep{{{from}, {to}}, Resistance{expected}, kRepeats},
            .skip_if = {}});
}

void plan_wires(const profile::Profile& profile, const Capabilities&, Plan& plan) {
  for (const Part& wire : profile.parts) {
    if (wire.kind() != PartKind::wire) continue;
    if (is_terminal(profile, wire.between[0]) && is_terminal(profile, wire.between[1])) {
      add(profile, plan, wire, "direct", wire.between[0], wire.between[1], wire.wire()->max_ohm);
    } else if (const auto star = star_of(profile, wire)) {
      const double a = middle_ohm(*star->arms[0]);
      const double b = middle_ohm(*star->arms[1]);
      add(profile, plan, wire, "PA", star->pin, star->far[0], a);
      add(profile, plan, wire, "PB", star->pin, star->far[1], b);
      add(profile, plan, wire, "AB", star->far[0], star->far[1], a + b);
    } else {
      plan.skip(key(wire, "direct"), "its splice cannot be reached from two other terminals");
    }
  }
}

void find_ground(const Evidence& evidence, const Part& wire, const Result& result, Judgement& out) {
  const auto& ground = evidence.profile().ground_pin;
  const bool is_ground = wire.between[0] == ground || wire.between[1] == ground;
  if (result.outcome != Outcome::fail) return;
  const bool open = !result.value;
  out.findings.push_back(
      {is_ground ? (open ? "lost-ground" : "high-resistance-ground")
                 : (open ? "wire-open" : "wire-resistance"),
       wire.name,
       is_ground ? (open ? "The pack's ground is lost: pin " + ground + " does not reach the case."
                         : "The pack's ground has too much resistance between pin " + ground +
                               " and the case.")
                 : "The conductor \"" + wire.name + "\" is " +
                       (open ? "open." : "too high in resistance."),
       result.pins,
       {result.title + ": " + result.text},
       is_ground ? "Look at the ground wire, its crimp and the strap to the case. Switch and range "
                   "faults seen in the "
                   "vehicle may all come from here."
                 : "Look at the wire, its crimps and its splice."});
}

void judge_direct(const Evidence& evidence, const Part& wire, Judgement& out) {
  Result result = missing(evidence, key(wire, "direct"), wire.name + ": resistance");
  if (const auto* reading = evidence.reading(key(wire, "direct")))
    judge_closed(evidence, *reading, {-INFINITY, wire.wire()->max_ohm}, result);
  result.required = wire.required;
  find_ground(evidence, wire, result, out);
  out.results.push_back(std::move(result));
}

void judge_star(const Evidence& evidence, const Part& wire, const Star& star, Judgement& out) {
  Result result = missing(evidence, key(wire, "AB"), wire.name + ": resistance (three readings)");
  const auto* pa = evidence.reading(key(wire, "PA"));
  const auto* pb = evidence.reading(key(wire, "PB"));
  const auto* ab = evidence.reading(key(wire, "AB"));
  result.pins = {star.pin, star.far[0], star.far[1]};
  result.required = wire.required;
  if (pa && pb && ab) {
    if (pa->overload && pb->overload && !ab->overload) {
      result.outcome = Outcome::fail;
      result.text = "open from pin " + star.pin + " while pins " + star.far[0] + " and " +
                    star.far[1] + " reach each other (" + text_of(*ab) + ")";
    } else if (pa->overload || pb->overload || ab->overload) {
      result.outcome = Outcome::undecided;
      result.text = "a coil behind the splice is open, so this wire cannot be told from it";
    } else {
      const Estimate r = *wire_ohm(evidence, wire);
      judge_number(evidence, r, Unit::ohm, {-INFINITY, wire.wire()->max_ohm}, result);
      refuse_negative(r, result);
    }
  }
  if (result.outcome == Outcome::fail)
    out.findings.push_back({result.value ? "feed-resistance" : "feed-open",
                            wire.name,
                            result.value ? "The common feed has too much resistance before the "
                                           "splice: every coil gets less voltage."
                                         : "The common feed is open before the splice: no coil can "
                                           "work, though each coil is whole.",
                            {star.pin},
                            {result.title + ": " + result.text},
                            "Look at pin " + star.pin + ", its wire, crimp and the splice."});
  out.results.push_back(std::move(result));
}

void judge_wires(const Evidence& evidence, Judgement& out) {
  for (const Part& wire : evidence.profile().parts) {
    if (wire.kind() != PartKind::wire) continue;
    const auto star = star_of(evidence.profile(), wire);
    if (star)
      judge_star(evidence, wire, *star, out);
    else
      judge_direct(evidence, wire, out);
  }
}

}  // namespace

std::optional<Estimate> wire_ohm(const Evidence& evidence, const Part& wire) {
  if (!star_of(evidence.profile(), wire)) {
    const auto* direct = evidence.reading(key(wire, "direct"));
    if (!direct || direct->overload) return std::nullopt;
    return direct->estimate(Unit::ohm);
  }
  const auto* pa = evidence.reading(key(wire, "PA"));
  const auto* pb = evidence.reading(key(wire, "PB"));
  const auto* ab = evidence.reading(key(wire, "AB"));
  if (!pa || !pb || !ab || pa->overload || pb->overload || ab->overload) return std::nullopt;
  // As if the three had nothing in common: contacts have not, and a gain error that they share
  // only makes it less.
  const Estimate a = pa->estimate(Unit::ohm), b = pb->estimate(Unit::ohm),
                 both = ab->estimate(Unit::ohm);
  return Estimate{(a.value + b.value - both.value) / 2, 0.5 * std::hypot(a.u, b.u, both.u)};
}

const CheckKind kWires{.name = kName,
                       .heading = "Feed and ground wires",
                       .driven = false,
                       .plan = plan_wires,
                       .follow_up = nullptr,
                       .judge = judge_wires};

}  // namespace pinproof::inspection
