#include "inspection/judge/judge.h"

#include <algorithm>
#include <map>

#include "inspection/checks/check.h"
#include "inspection/judge/asked.h"
#include "inspection/judge/notes.h"
#include "metrology/decision.h"
#include "quantity/error.h"
#include "quantity/phrase.h"

namespace pinproof::inspection {
namespace {

std::size_t count(const std::vector<Result>& results, Outcome outcome, bool required_only) {
  return static_cast<std::size_t>(std::count_if(
      results.begin(), results.end(),
      [&](const Result& r) { return r.outcome == outcome && (r.required || !required_only); }));
}

// The reasons in the order in which a person wants them.
std::string reasons(const std::vector<Result>& results) {
  std::vector<std::string> parts;
  const auto add = [&](Outcome outcome, const std::string& one, const std::string& many) {
    if (const std::size_t n = count(results, outcome, true); n > 0)
      parts.push_back(counted(n, one, many));
  };
  add(Outcome::fail, "check failed", "checks failed");
  add(Outcome::undecided, "check undecided", "checks undecided");
  add(Outcome::skipped, "check not done", "checks not done");
  add(Outcome::bench_fault, "bench fault", "bench faults");
  return list_of(parts);
}

void set_verdict(const record::Record& record, Judgement& out) {
  const auto& results = out.results;
  const std::size_t required = static_cast<std::size_t>(
      std::count_if(results.begin(), results.end(), [](const Result& r) { return r.required; }));
  const std::size_t passed = count(results, Outcome::pass, true);
  const auto* end = finished(record);
  // A bench that failed its own check proves nothing against a pack.
  const bool bench_bad = count(results, Outcome::bench_fault, true) > 0;
  const bool complete = end && end->complete();
  if (count(results, Outcome::fail, true) > 0 && !bench_bad) {
    out.verdict = Verdict::reject;
    out.why = reasons(results) + " of " + std::to_string(required) + ".";
  } else if (complete && required > 0 && passed == required) {
    out.verdict = Verdict::accept;
    out.why = "All " + std::to_string(required) + " required checks passed.";
  } else {
    out.verdict = Verdict::hold;
    const std::string counted = reasons(results);
    out.why = counted.empty() ? "Nothing was checked."
                              : counted + " of " + std::to_string(required) + ".";
    if (end && !end->complete()) out.why = "The run did not finish: " + end->why + ".";
    if (!end) out.why = "The record ends in mid-run.";
  }
}

/// What the resistances of a part that may be missing say of it.
struct PartPresence {
  bool open = false;    ///< one read open, or beyond the meter's range
  bool closed = false;  ///< one did not, or read no number: it is there
};

PartPresence sighting_of(const profile::Profile& profile, const std::string& part,
                         const std::vector<Result>& results) {
  PartPresence out;
  for (const Result& result : results) {
    if (result.subject != part || result.unit != Unit::ohm) continue;
    const bool looked = result.outcome == Outcome::pass || result.outcome == Outcome::fail ||
                        result.outcome == Outcome::undecided;
    const bool open = looked && (!result.value || result.value->value >= profile.open_ohm);
    out.open = out.open || open;
    out.closed = out.closed || (looked && !open);
  }
  return out;
}

// A part that may be missing reads open where it is missing. One that is there is judged like any
// other, by everything that was to be seen of it: a plunger that stays has no ohms.
void require_what_is_there(const profile::Profile& profile, std::vector<Result>& results) {
  for (const profile::Part& part : profile.parts) {
    if (part.required) continue;
    const PartPresence seen = sighting_of(profile, part.name, results);
    for (Result& result : results) {
      if (result.subject != part.name || result.outcome == Outcome::pass) continue;
      const bool bad = result.outcome == Outcome::fail || result.outcome == Outcome::undecided;
      result.required = result.required || seen.closed || (bad && !seen.open);
    }
  }
}

Judgement judge_as_asked(const profile::Profile& profile, const record::Record& record) {
  Judgement out;
  out.level = record.header.full ? Level::full : Level::static_;
  out.rule = metrology::rule_text(profile.guard_factor);
  const Evidence evidence(profile, record);
  for (const CheckKind* kind : check_kinds()) {
    if (kind->driven && !evidence.full()) continue;
    const std::size_t before = out.results.size();
    kind->judge(evidence, out);
    for (std::size_t i = before; i < out.results.size(); ++i) out.results[i].check = kind->name;
  }
  require_what_is_there(profile, out.results);
  out.not_tested = not_tested(evidence);
  out.cautions = cautions(profile);
  set_verdict(record, out);
  return out;
}

}  // namespace

const record::Finished* finished(const record::Record& record) {
  const record::Finished* last = nullptr;
  for (const record::Event& event : record.events)
    if (const auto* f = std::get_if<record::Finished>(&event)) last = f;
  return last;
}

Judgement judge(const profile::Profile& profile, const record::Record& record) {
  if (profile.name != record.header.profile_name)
    throw Error(Fault::usage, "the record is of the profile \"" + record.header.profile_name +
                                  "\", not of \"" + profile.name + "\"");
  auto otherwise = asked_otherwise(profile, record);
  if (otherwise.empty()) return judge_as_asked(profile, record);
  record::Record without = record;
  for (record::Skipped& skipped : otherwise) without.events.emplace_back(std::move(skipped));
  return judge_as_asked(profile, without);
}

std::string doubt_about(const Judgement& judgement, const record::Record& record) {
  const auto* end = finished(record);
  if (!end || !end->complete()) return "The record's run did not finish. ";
  for (const Result& result : judgement.results)
    if (result.required && result.outcome == Outcome::bench_fault)
      return "The record's bench did not prove itself (" + result.title + ": " + result.text +
             "). ";
  return "";
}

int exit_code(const Judgement& judgement, const record::Record& record) {
  const auto* end = finished(record);
  if (end && end->ending == findings::Ending::stopped) return 5;
  if (judgement.verdict == Verdict::accept) return 0;
  if (judgement.verdict == Verdict::reject) return 1;
  const bool bench =
      (end && !end->complete()) || count(judgement.results, Outcome::bench_fault, true) > 0;
  return bench ? 4 : 2;
}

}  // namespace pinproof::inspection
