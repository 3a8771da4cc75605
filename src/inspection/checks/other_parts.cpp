// Parts that no other check looks at. A resistor is measured; a diode of the
// pack's own, or a switch that no terminal reaches, cannot be judged by this
// version, and a required part that nobody judged must hold the verdict.
#include "inspection/checks/check.h"

namespace pinproof::inspection {
namespace {

using profile::Part;
using profile::PartKind;

constexpr std::string_view kName = "other-part";

record::Key key(const Part& part) { return {std::string(kName), part.name, ""}; }

// Why nothing measures the part; empty when something does.
std::string unjudged(const profile::Profile& profile, const Part& part) {
  if (part.kind() == PartKind::diode) return "this version has no check for a diode of its own";
  const bool reached = network::leads_of(profile, part).has_value();
  const bool elsewhere = part.kind() != PartKind::resistor && part.kind() != PartKind::switch_ &&
                         part.kind() != PartKind::contact;
  return reached || elsewhere ? "" : "no terminal reaches it by wires alone";
}

void plan_others(const profile::Profile& profile, const Capabilities&, Plan& plan) {
  for (const Part& part : profile.parts) {
    if (const std::string why = unjudged(profile, part); !why.empty()) {
      plan.skip(key(part), why);
    } else if (part.resistor()) {
      const auto leads = network::leads_of(profile, part);
      plan.add({.key = key(part),
                .phase = Phase::rest,
                .state = rest_state(profile),
                .action = OhmStep{{{leads->from}, {leads->to}},
                                  Resistance{part.resistor()->resistance_ohm.middle()},
                                  2},
                .skip_if = {}});
    }
  }
}

void judge_others(const Evidence& evidence, Judgement& out) {
  for (const Part& part : evidence.profile().parts) {
    if (unjudged(evidence.profile(), part).empty() && !part.resistor()) continue;
    Result result =
        missing(evidence, key(part), std::string(name_of(part.kind())) + " " + part.name);
    result.aspect = findings::kResistance;
    result.required = part.required;
    if (const auto* reading = evidence.reading(key(part))) {
      const auto leads = network::leads_of(evidence.profile(), part);
      const Interval& limit = part.resistor()->resistance_ohm;
      judge_closed(evidence, *reading, {limit.low, limit.high + leads->wires_max_ohm}, result);
      if (result.outcome == Outcome::fail)
        out.findings.push_back({"resistor-value",
                                part.name,
                                "Resistor " + part.name + " is outside its limits.",
                                result.pins,
                                {result.title + ": " + result.text},
                                "Burnt, broken, or another variant of the pack."});
    }
    out.results.push_back(std::move(result));
  }
}

}  // namespace

const CheckKind kOtherParts{.name = kName,
                            .heading = "Other parts",
                            .driven = false,
                            .plan = plan_others,
                            .follow_up = nullptr,
                            .judge = judge_others};

}  // namespace pinproof::inspection
