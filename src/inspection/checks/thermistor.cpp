// The pack's own thermistor against the thermometer beside it.
#include "inspection/checks/check.h"
#include "quantity/text.h"

namespace pinproof::inspection {
namespace {

using profile::Part;

constexpr std::string_view kName = "thermistor";

record::Key key(const Part& part) { return {std::string(kName), part.name, ""}; }

void plan_thermistors(const profile::Profile& profile, const Capabilities&, Plan& plan) {
  for (const Part& part : profile.parts) {
    if (!part.thermistor()) continue;
    const auto leads = network::leads_of(profile, part);
    if (!leads) {
      plan.skip(key(part), "no terminal reaches it by wires alone");
      continue;
    }
    const double expected = profile::thermistor_ohm(*part.thermistor(), 23).value_or(1e4);
    plan.add({.key = key(part),
              .phase = Phase::rest,
              .state = rest_state(profile),
              .action = OhmStep{{{leads->from}, {leads->to}}, Resistance{expected}, 2},
              .skip_if = {}});
  }
}

// d(celsius)/d(ohm) by the curve itself.
std::optional<Estimate> celsius_of(const profile::Thermistor& curve,
                                   const record::Reading& reading) {
  const Estimate ohm = reading.estimate(Unit::ohm);
  const auto at = profile::thermistor_celsius(curve, ohm.value);
  const auto above = profile::thermistor_celsius(curve, ohm.value * 1.001);
  if (!at || !above) return std::nullopt;
  return Estimate{*at, std::abs((*above - *at) / (0.001 * ohm.value)) * ohm.u};
}

void judge_reading(const Evidence& evidence, const Part& part, const record::Reading& reading,
                   Result& result) {
  const auto air = evidence.celsius();
  const bool usable = !reading.overload && reading.estimate(Unit::ohm).usable();
  const auto own = !usable ? std::nullopt : celsius_of(*part.thermistor(), reading);
  if (!own) {
    result.outcome = Outcome::fail;
    result.text = text_of(reading) + ": no temperature of its curve";
  } else if (!air) {
    result.outcome = Outcome::undecided;
    result.text = text_of(reading) + " means " + format_estimate(*own, Unit::celsius) +
                  "; this bench has no thermometer to compare";
  } else {
    const double tolerance = part.thermistor()->tolerance_K;
    judge_number(evidence, {own->value - air->value, std::hypot(own->u, air->u)}, Unit::none,
                 {-tolerance, tolerance}, result);
    result.text = text_of(reading) + " means " + format_estimate(*own, Unit::celsius) +
                  ", the thermometer says " + format_estimate(*air, Unit::celsius) + "; " +
                  format_si(tolerance, Unit::none, 2) + " K apart is allowed";
  }
}

void judge_thermistors(const Evidence& evidence, Judgement& out) {
  for (const Part& part : evidence.profile().parts) {
    if (!part.thermistor()) continue;
    Result result = missing(evidence, key(part), part.name + ": temperature by its curve");
    result.required = part.required;
    if (const auto* reading = evidence.reading(key(part))) {
      result.pins = {reading->from.front(), reading->to.front()};
      judge_reading(evidence, part, *reading, result);
      if (result.outcome == Outcome::fail)
        out.findings.push_back({reading->overload ? "thermistor-open"
                                : result.value    ? "thermistor-drift"
                                                  : "thermistor-short",
                                part.name,
                                "The thermistor does not tell the temperature of the pack.",
                                result.pins,
                                {result.title + ": " + result.text},
                                "Compare once more after the pack has soaked; then replace it."});
    }
    out.results.push_back(std::move(result));
  }
}

}  // namespace

const CheckKind kThermistor{.name = kName,
                            .heading = "Fluid thermistor",
                            .driven = false,
                            .plan = plan_thermistors,
                            .follow_up = nullptr,
                            .judge = judge_thermistors};

}  // namespace pinproof::inspection
