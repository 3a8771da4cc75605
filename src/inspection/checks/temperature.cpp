// The temperature beside the pack. Not judged against limits of its own, but
// copper moves 0.4 % a kelvin, so without it no resistance can be.
#include "inspection/checks/check.h"
#include "quantity/text.h"

namespace pinproof::inspection {
namespace {

constexpr std::string_view kName = "temperature";
constexpr Interval kWorkshop{-10, 60};  // outside this a thermometer beside a pack is not believed
constexpr TemperatureDifference kSettled{
    2};  // more drift than this in one run: the pack is not soaked

record::Key key(std::string role) { return {std::string(kName), "bench", std::move(role)}; }

void plan_temperature(const profile::Profile&, const Capabilities& can, Plan& plan) {
  if (!can.celsius) {
    plan.skip(key("before"), "this bench has no thermometer");
    return;
  }
  plan.add({.key = key("before"),
            .phase = Phase::bench_before,
            .state = {},
            .action = TemperatureStep{},
            .skip_if = {}});
  plan.add({.key = key("after"),
            .phase = Phase::bench_after,
            .state = {},
            .action = TemperatureStep{},
            .skip_if = {}});
}

void judge_temperature(const Evidence& evidence, Judgement& out) {
  Result result = missing(evidence, key("before"), "Temperature beside the pack");
  const auto celsius = evidence.celsius();
  const auto* before = evidence.reading(key("before"));
  const auto* after = evidence.reading(key("after"));
  if (before && !after) result = missing(evidence, key("after"), "Temperature beside the pack");
  result.aspect.clear();
  if (celsius && before && after) {
    const TemperatureDifference drift = after->measured.celsius() - before->measured.celsius();
    const bool sane = celsius->value >= kWorkshop.low && celsius->value <= kWorkshop.high;
    const bool settled = abs(drift) <= kSettled;  // false for what is not a number
    result.outcome = sane && settled ? Outcome::pass
                     : sane          ? Outcome::undecided
                                     : Outcome::bench_fault;
    result.value = celsius;
    result.unit = Unit::celsius;
    result.text = format_estimate(*celsius, Unit::celsius) + ", drift " +
                  format_si(drift.si(), Unit::none, 2) + " K";
    if (!settled) result.text += ": let the pack soak at room temperature and repeat";
    if (!sane) result.text += ": not a workshop's temperature";
  }
  out.results.push_back(std::move(result));
}

}  // namespace

const CheckKind kTemperature{.name = kName,
                             .heading = "Temperature",
                             .driven = false,
                             .plan = plan_temperature,
                             .follow_up = nullptr,
                             .judge = judge_temperature};

}  // namespace pinproof::inspection
