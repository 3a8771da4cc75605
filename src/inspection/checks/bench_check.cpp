// Before anything is said about the pack, the bench proves itself: leads
// shorted, known resistors, leads open, every relay opens and closes; and most
// of it again at the end. A reference of megohms is there because a meter that
// stays in a low range calls every leak an open.
#include <algorithm>
#include <cmath>

#include "inspection/checks/check.h"
#include "quantity/text.h"

namespace pinproof::inspection {
namespace {

constexpr std::string_view kName = "bench-check";
constexpr double kShorted_ohm = 1.0;  // more than this through shorted leads is a bad lead or relay
constexpr double kOpen_ohm = 50e6;    // fixture insulation: five times what a pack must have
constexpr double kReferenceSlack =
    0.002;                           // relays and wiring beyond the meter's own accuracy, relative
constexpr double kHighSlack = 0.02;  // the fixture's own insulation beside megohms
constexpr Resistance kShort{0.1}, kOpenLeads{INFINITY};  // that a step expects
constexpr double kScatter = 0.02;  // of a reference: readings wider than this prove nothing

record::Key key(std::string role) { return {std::string(kName), "bench", std::move(role)}; }

void add(Plan& plan, std::string role, Phase phase, OhmStep step) {
  plan.add({.key = key(std::move(role)),
            .phase = phase,
            .state = {},
            .action = std::move(step),
            .skip_if = {}});
}

struct Reference {
  const char* role;
  std::string_view plus, minus;
  const char* title;
  const char* why_not;
  double ohm;
  double slack;
  bool Capabilities::*can;
  std::optional<Estimate> record::Header::*value;
};
constexpr Reference kReferences[] = {
    {"reference", bench::kReferencePlus, bench::kReferenceMinus, "Reference resistor",
     "this bench has no reference resistor: a drifted meter is not noticed", 100, kReferenceSlack,
     &Capabilities::reference, &record::Header::reference},
    {"high reference", bench::kHighReferencePlus, bench::kHighReferenceMinus,
     "High reference resistor",
     "this bench has no reference of megohms: a meter that stays in a low range is not noticed",
     1e7, kHighSlack, &Capabilities::high_reference, &record::Header::high_reference}};

// Before, and again after.
struct Time {
  Phase phase;
  const char* suffix;
  const char* title;
};
constexpr Time kTimes[] = {{Phase::bench_before, "", ", before"},
                           {Phase::bench_after, " after", ", after"}};

std::vector<std::string> terminals(const profile::Profile& profile) {
  std::vector<std::string> out{std::string(profile::kCase)};
  for (const auto& pin : profile.connector.pins) out.push_back(pin.number);
  return out;
}

// Every row of relays that a lead is on with nothing else, and the row that it lies on.
struct RelayRow {
  const char* name;
  const char* force;
  const char* other;
};
constexpr RelayRow kRows[] = {
    {"sense_high", "force_high", "force_low"}, {"drive_high", "force_high", "force_low"},
    {"probe_high", "force_high", "force_low"}, {"sense_low", "force_low", "force_high"},
    {"drive_low", "force_low", "force_high"},  {"probe_low", "force_low", "force_high"}};

bool has_row(const Capabilities& can, const char* name) {
  return std::find(can.rows.begin(), can.rows.end(), name) != can.rows.end();
}

// All of the pack on one lead and nothing on the other: a relay that does not
// open shows as a closed loop, whatever the pack is like. Another row hangs on
// the free lead by the reference's column, where it has one.
void plan_opening(const profile::Profile& profile, const Capabilities& can, const Time& time,
                  Plan& plan) {
  const auto all = terminals(profile);
  add(plan, std::string("high relays") + time.suffix, time.phase, {{{}, all}, kOpenLeads, 2});
  add(plan, std::string("low relays") + time.suffix, time.phase, {{all, {}}, kOpenLeads, 2});
  if (!can.reference) return;
  const std::string at(bench::kReferencePlus);
  for (const RelayRow& row : kRows)
    if (has_row(can, row.name))
      add(plan, std::string(row.name) + " relays" + time.suffix, time.phase,
          {.between = {},
           .expected = kOpenLeads,
           .repeats = 1,
           .rows = {{row.force, {at}}, {row.name, {at}}, {row.other, all}}});
}

// Both leads on one terminal: the reading goes through its relays and through nothing of the pack.
void plan_closing(const profile::Profile& profile, const Time& time, Plan& plan) {
  for (const std::string& terminal : terminals(profile))
    add(plan, "relays of " + terminal + time.suffix, time.phase,
        {{{terminal}, {terminal}}, kShort});
}

void plan_relays(const profile::Profile& profile, const Capabilities& can, const Time& time,
                 Plan& plan) {
  if (can.tie) {
    plan_opening(profile, can, time, plan);
    return plan_closing(profile, time, plan);
  }
  if (time.phase == Phase::bench_before)
    for (const char* role : {"high relays", "low relays"})
      plan.skip(key(role), kNothingTies, findings::SkipReason::no_ties);
}

void plan_bench(const profile::Profile& profile, const Capabilities& can, Plan& plan) {
  // Both leads on one point. Without a resistor to be had, the pack's case will do.
  const std::string point(can.reference ? bench::kReferencePlus : profile::kCase);
  add(plan, "shorted", Phase::bench_before, {{{point}, {point}}, kShort, 2});
  for (const Time& time : kTimes) {
    for (const Reference& one : kReferences) {
      if (can.*one.can)
        add(plan, std::string(one.role) + time.suffix, time.phase,
            {{{std::string(one.plus)}, {std::string(one.minus)}}, Resistance{one.ohm}, 2});
      else
        plan.skip(key(std::string(one.role) + time.suffix), one.why_not,
                  findings::SkipReason::no_reference);
    }
    if (time.phase == Phase::bench_before)
      add(plan, "open", Phase::bench_before, {{}, kOpenLeads, 2});
    plan_relays(profile, can, time, plan);
  }
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

void judge_reference(const Evidence& evidence, const Reference& one, const Time& time,
                     Judgement& out) {
  const record::Key k = key(std::string(one.role) + time.suffix);
  Result result = base(evidence, k, std::string(one.title) + time.title);
  result.after = time.phase == Phase::bench_after;
  const auto& reference = evidence.record().header.*one.value;
  // A record from before this resistor was known.
  if (!reference && !evidence.reading(k) && !evidence.skipped(k)) return;
  if (!reference && result.skipped == findings::SkipReason::no_reference)
    result.outcome = Outcome::skipped, result.required = false;
  const auto* reading = evidence.reading(k);
  if (reading && reference) {
    const Estimate ohm = reading->estimate(Unit::ohm);
    const double slack = 2 * ohm.u + 2 * reference->u + one.slack * reference->value;
    result.limit = Interval{reference->value - slack, reference->value + slack};
    result.value = ohm;
    result.unit = Unit::ohm;
    const bool inside = !reading->overload && ohm.usable() && ohm.value >= result.limit->low &&
                        ohm.value <= result.limit->high && 2 * ohm.u <= kScatter * reference->value;
    result.outcome = inside ? Outcome::pass : Outcome::bench_fault;
    result.text = text_of(*reading) + ", the resistor is " + format_estimate(*reference, Unit::ohm);
  }
  out.results.push_back(std::move(result));
}

// An overload of a low range says nothing about megohms.
bool reads_open(const record::Reading& reading) {
  constexpr double kLeastRange_ohm = 1e7;
  if (reading.overload) return reading.measured.in(Unit::ohm).range_end >= kLeastRange_ohm;
  const Estimate ohm = reading.estimate(Unit::ohm);
  return ohm.usable() && ohm.value - 2 * ohm.u > kOpen_ohm;
}

void judge_opens(const Evidence& evidence, const std::string& role, const std::string& title,
                 bool after, Judgement& out) {
  Result open = base(evidence, key(role), title);
  open.after = after;
  // A bench without relays says so in the record; it has none to weld. A person's skip is no such.
  if (role != "open" && open.skipped == findings::SkipReason::no_ties)
    open.outcome = Outcome::skipped, open.required = false;
  if (const auto* reading = evidence.reading(key(role))) {
    open.outcome = reads_open(*reading) ? Outcome::pass : Outcome::bench_fault;
    open.text = text_of(*reading) + ", at least " + format_si(kOpen_ohm, Unit::ohm, 2) + " wanted";
  }
  out.results.push_back(std::move(open));
}

// Which rows a bench has is not in its record: all that were read at either time are wanted.
std::vector<std::string> rows_read(const Evidence& evidence) {
  std::vector<std::string> out;
  for (const RelayRow& row : kRows)
    for (const Time& time : kTimes)
      if (evidence.reading(key(std::string(row.name) + " relays" + time.suffix)) &&
          (out.empty() || out.back() != row.name))
        out.push_back(row.name);
  return out;
}

bool read_closing(const Evidence& evidence) {
  const auto all = terminals(evidence.profile());
  return std::any_of(all.begin(), all.end(), [&](const std::string& terminal) {
    return std::any_of(std::begin(kTimes), std::end(kTimes), [&](const Time& time) {
      return evidence.reading(key("relays of " + terminal + time.suffix)) != nullptr;
    });
  });
}

// Of several readings in one result. None at all: a bench without relays, or a record from before
// they were read.
void conclude(Result result, const std::vector<std::string>& bad,
              const std::vector<std::string>& unread, Judgement& out) {
  result.outcome = !bad.empty()     ? Outcome::bench_fault
                   : unread.empty() ? Outcome::pass
                                    : Outcome::skipped;
  if (bad.empty() && !unread.empty())
    result.text = std::string(kNotMeasured) + ": " + list_of(unread);
  result.unread = bad.empty() && !unread.empty();
  out.results.push_back(std::move(result));
}

// Of several readings: no key of a record is called so.
Result of_all(const char* what, const Time& time) {
  Result out;
  out.aspect = std::string(what) + time.suffix;
  out.after = time.phase == Phase::bench_after;
  return out;
}

void judge_rows(const Evidence& evidence, const Time& time, Judgement& out) {
  Result result = of_all("rows", time);
  result.title = std::string("Relays of the other rows open") + time.title;
  const auto rows = rows_read(evidence);
  std::vector<std::string> unread, welded;
  for (const std::string& row : rows) {
    const auto* reading = evidence.reading(key(row + " relays" + time.suffix));
    if (!reading)
      unread.push_back(row);
    else if (!reads_open(*reading))
      welded.push_back(row + " " + text_of(*reading));
  }
  if (rows.empty()) return;
  result.text =
      welded.empty() ? "open: " + list_of(rows) : "a relay does not open in " + list_of(welded);
  conclude(std::move(result), welded, unread, out);
}

bool meets(const record::Reading& reading) {
  const Estimate ohm = reading.estimate(Unit::ohm);
  return !reading.overload && ohm.usable() && std::abs(ohm.value) + 2 * ohm.u <= kShorted_ohm;
}

// A lead that has gone bad may still carry the small current of a higher range: four wires take
// its resistance off, but a part in the low range then looks open.
bool range_grew(const Evidence& evidence, const std::string& terminal,
                const record::Reading& reading) {
  const auto* before = evidence.reading(key("relays of " + terminal));
  return before && !before->overload &&
         reading.measured.in(Unit::ohm).range_end > before->measured.in(Unit::ohm).range_end;
}

// A bad row shows at every terminal: the first few tell as much.
std::string few_of(std::vector<std::string> all) {
  constexpr std::size_t kFew = 3;
  if (all.size() <= kFew) return list_of(all);
  const std::string more = std::to_string(all.size() - kFew) + " more";
  all.resize(kFew);
  all.push_back(more);
  return list_of(all);
}

void judge_closing(const Evidence& evidence, const Time& time, Judgement& out) {
  Result result = of_all("closing", time);
  result.title = std::string("Relays close at every terminal") + time.title;
  std::vector<std::string> bad, unread;
  const auto all = terminals(evidence.profile());
  for (const std::string& terminal : all) {
    const auto* reading = evidence.reading(key("relays of " + terminal + time.suffix));
    const std::string where = terminal == profile::kCase ? "the case: " : "pin " + terminal + ": ";
    if (!reading)
      unread.push_back(terminal);
    else if (!meets(*reading))
      bad.push_back(where + text_of(*reading));
    else if (range_grew(evidence, terminal, *reading))
      bad.push_back(where + "read in a range of " +
                    format_si(reading->measured.in(Unit::ohm).range_end, Unit::ohm, 3) +
                    " only, lower before");
  }
  if (!read_closing(evidence)) return;
  result.text = bad.empty() ? std::to_string(all.size()) + " terminals, both leads on each"
                            : "both leads on one terminal do not meet at " + few_of(bad) +
                                  ": a relay, its row or its column";
  conclude(std::move(result), bad, unread, out);
}

void judge_bench(const Evidence& evidence, Judgement& out) {
  Result shorted = base(evidence, key("shorted"), "Leads shorted");
  if (const auto* reading = evidence.reading(key("shorted")))
    judge_closed(evidence, *reading, {-kShorted_ohm, kShorted_ohm}, shorted);
  blame_bench(shorted);
  out.results.push_back(std::move(shorted));
  for (const Time& time : kTimes) {
    for (const Reference& one : kReferences) judge_reference(evidence, one, time, out);
    if (time.phase == Phase::bench_before) judge_opens(evidence, "open", "Leads open", false, out);
    // At the end only where relays were looked at closely: by hand, and in older records, never.
    if (time.phase == Phase::bench_before || read_closing(evidence))
      for (const char* lead : {"high", "low"})
        judge_opens(evidence, lead + std::string(" relays") + time.suffix,
                    "All relays of the " + std::string(lead) + " lead open" + time.title,
                    time.phase == Phase::bench_after, out);
    judge_rows(evidence, time, out);
    judge_closing(evidence, time, out);
  }
}

}  // namespace

const CheckKind kBenchCheck{.name = kName,
                            .heading = "Bench self-check",
                            .driven = false,
                            .plan = plan_bench,
                            .follow_up = nullptr,
                            .judge = judge_bench};

}  // namespace pinproof::inspection
