// Before anything is said about the pack, the bench proves itself: leads
// shorted, a known resistor, leads open; and the resistor again at the end.
#include "inspection/check.h"
#include "quantity/text.h"

namespace pinproof::inspection {
namespace {

constexpr std::string_view kName = "bench-check";
constexpr double kShorted_ohm = 1.0;  // more than this through shorted leads is a bad lead or relay
constexpr double kOpen_ohm = 50e6;    // fixture insulation: five times what a pack must have
constexpr double kReferenceSlack =
    0.002;  // relays and wiring beyond the meter's own accuracy, relative

record::Key key(std::string role) { return {std::string(kName), "bench", std::move(role)}; }

void add(Plan& plan, std::string role, Phase phase, bench::Connection between, double expected) {
  plan.add({.key = key(std::move(role)),
            .phase = phase,
            .state = {},
            .action = OhmStep{std::move(between), expected, 2},
            .skip_if = {}});
}

// All of the pack on one lead and nothing on the other: a relay that does not
// open shows as a closed loop, whatever the pack is like.
void add_welded(const profile::Profile& profile, Plan& plan) {
  std::vector<std::string> all{std::string(profile::kCase)};
  for (const auto& pin : profile.connector.pins) all.push_back(pin.number);
  add(plan, "high relays", Phase::bench_before, {{}, all}, INFINITY);
  add(plan, "low relays", Phase::bench_before, {all, {}}, INFINITY);
}

void plan_bench(const profile::Profile& profile, const Capabilities& can, Plan& plan) {
  const std::string plus(bench::kReferencePlus);
  const std::string minus(bench::kReferenceMinus);
  // Both leads on one point. Without a resistor to be had, the pack's case will do.
  const std::string point = can.reference ? plus : std::string(profile::kCase);
  add(plan, "shorted", Phase::bench_before, {{point}, {point}}, 0.1);
  if (can.reference) add(plan, "reference", Phase::bench_before, {{plus}, {minus}}, 100);
  add(plan, "open", Phase::bench_before, {}, INFINITY);
  if (can.tie) {
    add_welded(profile, plan);
  } else {
    plan.skip(key("high relays"), "nothing here ties pins together");
    plan.skip(key("low relays"), "nothing here ties pins together");
  }
  if (can.reference)
    return add(plan, "reference after", Phase::bench_after, {{plus}, {minus}}, 100);
  for (const char* role : {"reference", "reference after"})
    plan.skip(key(role), "this bench has no reference resistor: a drifted meter is not noticed");
}

Result base(const Evidence& evidence, const record::Key& k, std::string title) {
  Result result = missing(evidence, k, std::move(title));
  if (result.outcome == Outcome::skipped) result.outcome = Outcome::bench_fault;
  return result;
}

// A bench that misses its own marks is a bench fault, never a fault of the pack.
void blame_bench(Result& result) {
  if (result.outcome != Outcome::pass) result.outcome = Outcome::bench_fault;
}

void judge_reference(const Evidence& evidence, const std::string& role, const std::string& title,
                     Judgement& out) {
  Result result = base(evidence, key(role), title);
  const auto& reference = evidence.record().header.reference;
  if (!reference && evidence.skipped(key(role)))
    result.outcome = Outcome::skipped, result.required = false;
  const auto* reading = evidence.reading(key(role));
  if (reading && reference) {
    const double slack = 2 * reading->u + 2 * reference->u + kReferenceSlack * reference->value;
    result.limit = Interval{reference->value - slack, reference->value + slack};
    result.value = Estimate{reading->value, reading->u};
    result.unit = Unit::ohm;
    const bool inside = !reading->overload && reading->value >= result.limit->low &&
                        reading->value <= result.limit->high;
    result.outcome = inside ? Outcome::pass : Outcome::bench_fault;
    result.text = text_of(*reading) + ", the resistor is " + format_estimate(*reference, Unit::ohm);
  }
  out.results.push_back(std::move(result));
}

void judge_opens(const Evidence& evidence, const std::string& role, const std::string& title,
                 Judgement& out) {
  Result open = base(evidence, key(role), title);
  // A bench without relays says so in the record; it has none to weld.
  if (role != "open" && evidence.skipped(key(role)))
    open.outcome = Outcome::skipped, open.required = false;
  if (const auto* reading = evidence.reading(key(role))) {
    open.outcome = reading->overload || reading->value - 2 * reading->u > kOpen_ohm
                       ? Outcome::pass
                       : Outcome::bench_fault;
    open.text = text_of(*reading) + ", at least " + format_si(kOpen_ohm, Unit::ohm, 2) + " wanted";
  }
  out.results.push_back(std::move(open));
}

void judge_bench(const Evidence& evidence, Judgement& out) {
  Result shorted = base(evidence, key("shorted"), "Leads shorted");
  if (const auto* reading = evidence.reading(key("shorted")))
    judge_closed(evidence, *reading, {-kShorted_ohm, kShorted_ohm}, shorted);
  blame_bench(shorted);
  out.results.push_back(std::move(shorted));

  judge_reference(evidence, "reference", "Reference resistor, before", out);

  judge_opens(evidence, "open", "Leads open", out);
  judge_opens(evidence, "high relays", "All relays of the high lead open", out);
  judge_opens(evidence, "low relays", "All relays of the low lead open", out);
  judge_reference(evidence, "reference after", "Reference resistor, after", out);
}

}  // namespace

const CheckKind kBenchCheck{.name = kName,
                            .heading = "Bench self-check",
                            .driven = false,
                            .plan = plan_bench,
                            .follow_up = nullptr,
                            .judge = judge_bench};

}  // namespace pinproof::inspection
