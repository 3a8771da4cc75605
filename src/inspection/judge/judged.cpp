#include "inspection/judge/judged.h"

#include <algorithm>
#include <cmath>

#include "inspection/judge/judge.h"

namespace pinproof::inspection {

record::Judged judged_of(const Judgement& judgement, const std::string& profile_hash,
                         const std::string& program) {
  record::Judged out;
  out.verdict = name_of(judgement.verdict), out.level = name_of(judgement.level);
  out.why = judgement.why, out.profile_hash = profile_hash, out.program = program;
  for (const Result& r : judgement.results) {
    record::Figure f{r.check, r.subject, r.aspect, r.title, r.unit, {-INFINITY, INFINITY}, {}, 0, {}};
    f.outcome = name_of(r.outcome);
    if (r.limit) f.limit = *r.limit;
    if (r.value && r.value->usable()) f.value = r.value->value, f.u = r.value->u;
    out.figures.push_back(std::move(f));
  }
  for (const Finding& finding : judgement.findings)
    out.findings.push_back({finding.kind, finding.part});
  return out;
}

Judgement decided(Judgement judgement, const record::Attempt& attempt) {
  if (!attempt.overridden) return judgement;
  const record::Override& by = *attempt.overridden;
  const Verdict told = by.verdict == "reject" ? Verdict::reject
                       : by.verdict == "hold" ? Verdict::hold
                                              : Verdict::accept;
  if (worse(told, judgement.verdict) == judgement.verdict) return judgement;
  judgement.why = "Decided by " + by.by + " at " + by.at + ": " + by.why +
                  " (The measurement alone: " + std::string(name_of(judgement.verdict)) + ". " +
                  judgement.why + ")";
  judgement.verdict = told;
  return judgement;
}

std::string how_it_ended(const Judgement& judgement, const record::Record& record) {
  const auto* last = finished(record);
  if (!last) return "left";
  switch (exit_code(judgement, record)) {
    case 5:
      return "stopped";
    case 4:
      return "bench-fault";
    default:
      return last->complete() ? "complete" : "bench-fault";
  }
}

}  // namespace pinproof::inspection
