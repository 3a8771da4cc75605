#include "judging.h"

#include <algorithm>

#include "inspection/judge/judge.h"
#include "targets.h"

namespace pinproof::fuzz {
namespace {

using inspection::Judgement;
using inspection::Outcome;
using inspection::Result;
using inspection::Verdict;

bool complete(const record::Record& record) {
  bool out = false;
  for (const auto& event : record.events)
    if (const auto* end = std::get_if<record::Finished>(&event)) out = end->complete();
  return out;
}

void expect_result(const Result& result) {
  if (result.outcome != Outcome::pass || !result.value || !result.limit) return;
  expect(result.value->usable(), "a pass is by usable figures", result.title);
  expect(result.limit->low <= result.value->value && result.value->value <= result.limit->high,
         "a pass is inside its limit", result.title + ": " + result.text);
}

}  // namespace

Judgement judged(const profile::Profile& profile, const record::Record& record) {
  Judgement out = inspection::judge(profile, record);
  const auto any = [&](Outcome outcome) {
    return std::any_of(out.results.begin(), out.results.end(),
                       [&](const Result& r) { return r.required && r.outcome == outcome; });
  };
  const bool all_pass = std::all_of(out.results.begin(), out.results.end(), [](const Result& r) {
    return !r.required || r.outcome == Outcome::pass;
  });
  if (out.verdict == Verdict::accept)
    expect(all_pass && any(Outcome::pass) && complete(record), "accept: all required passed",
           out.why);
  if (out.verdict == Verdict::reject) expect(any(Outcome::fail), "reject: something failed");
  for (const Result& result : out.results) expect_result(result);
  const Judgement again = inspection::judge(profile, record);
  expect(again.verdict == out.verdict && again.why == out.why &&
             again.results.size() == out.results.size(),
         "judged again, the same", out.why);
  return out;
}

}  // namespace pinproof::fuzz
