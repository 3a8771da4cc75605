// Resistance of each coil at the profile's reference temperature, by copper's law.
#include "inspection/checks/check.h"
#include "metrology/copper.h"
#include "quantity/text.h"

namespace pinproof::inspection {
namespace {

using profile::Part;

constexpr std::string_view kName = "coil-resistance";
constexpr int kRepeats = 3;
constexpr double kShort = 0.3;  // of the low limit; below this a short, not a few turns

record::Key key(const Part& coil) { return {std::string(kName), coil.name, ""}; }

void plan_coils(const profile::Profile& profile, const Capabilities&, Plan& plan) {
  for (const Part& part : profile.parts) {
    if (!part.coil()) continue;
    const auto leads = network::leads_of(profile, part);
    if (!leads) {
      plan.skip(key(part), "no terminal reaches it by wires alone");
      continue;
    }
    plan.add({.key = key(part),
              .phase = Phase::rest,
              .state = rest_state(profile),
              .action = OhmStep{{{leads->from}, {leads->to}},
                                Resistance{part.coil()->resistance_ohm.middle()},
                                kRepeats},
              .skip_if = {}});
  }
}

Finding finding_for(const Evidence& evidence, const Part& coil, const Result& result,
                    const record::Reading& reading) {
  const Interval& limit = coil.coil()->resistance_ohm;
  Finding f{"", coil.name, "", result.pins, {result.title + ": " + result.text}, ""};
  const auto unproven = evidence.unproven(result.pins);
  if (reading.overload) {
    f.kind = "coil-open";
    f.text = "Coil " + coil.name + " is open between pins " + list_of(result.pins) +
             ": winding, joint or wire.";
    f.next = unproven.empty() ? "Pack connector pins are proven: the break is inside."
                              : "Nothing else was read through " + list_of(unproven) +
                                    ": check the contact there, then retest.";
  } else if (result.value && result.value->value < kShort * limit.low) {
    f.kind = "coil-shorted";
    f.text = "Coil " + coil.name + " is shorted.";
    f.next = "Do not energise it: it would draw far more than its current.";
  } else if (result.value && result.value->value < limit.low) {
    f.kind = "resistance-low";
    f.text = "Coil " + coil.name +
             " is too low in resistance: shorted turns, a leak across it, or a wrong part.";
    f.next =
        "Shorted turns lower the inductance more than the resistance; a leak to another circuit "
        "shows in the insulation check.";
  } else {
    f.kind = "resistance-high";
    f.text =
        "Coil " + coil.name + " is too high in resistance: a bad joint or wire, or a wrong part.";
    f.next = "If it moves while the wire is wiggled, it is a joint.";
  }
  return f;
}

void judge_coil(const Evidence& evidence, const Part& part, Judgement& out) {
  const double reference = part.coil()->resistance_celsius;
  Result result =
      missing(evidence, key(part),
              "Coil " + part.name + ": resistance at " + format_si(reference, Unit::celsius, 2));
  result.aspect = findings::resistance_at(reference);
  result.required = part.required;
  const auto* reading = evidence.reading(key(part));
  const auto celsius = evidence.celsius();
  const auto leads = network::leads_of(evidence.profile(), part);
  if (reading && leads) {
    result.pins = {leads->from, leads->to};
    const Interval limit{part.coil()->resistance_ohm.low,
                         part.coil()->resistance_ohm.high + leads->wires_max_ohm};
    if (reading->overload) {
      judge_closed(evidence, *reading, limit, result);
    } else if (!celsius) {
      result.outcome = Outcome::undecided;
      result.text = text_of(*reading) + " at an unknown temperature: copper moves 0.4 % a kelvin";
    } else {
      judge_number(evidence,
                   metrology::at_reference(reading->estimate(Unit::ohm), *celsius, reference),
                   Unit::ohm, limit, result);
    }
    if (result.outcome == Outcome::fail)
      out.findings.push_back(finding_for(evidence, part, result, *reading));
  }
  out.results.push_back(std::move(result));
}

void judge_coils(const Evidence& evidence, Judgement& out) {
  for (const Part& part : evidence.profile().parts)
    if (part.coil()) judge_coil(evidence, part, out);
}

}  // namespace

const CheckKind kCoilResistance{.name = kName,
                                .heading = "Coil resistance",
                                .driven = false,
                                .plan = plan_coils,
                                .follow_up = nullptr,
                                .judge = judge_coils};

}  // namespace pinproof::inspection
