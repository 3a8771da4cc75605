// Equal coils of one pack are wound alike and are at one temperature, so they
// may be compared more sharply than with their limits: the thermometer's error is common to all of
// them. So is the meter's gain, but what its contacts and its last digit add is not, and a record
// does not tell the two apart: each reading keeps the whole of its uncertainty.
#include <algorithm>
#include <map>

#include "inspection/checks/check.h"
#include "inspection/checks/coil_expected.h"
#include "quantity/text.h"

namespace pinproof::inspection {
namespace {

using profile::Part;

constexpr std::string_view kName = "matched-set";

// Equal coils form a set; the sharpest of their limits holds for all of it.
std::vector<std::vector<const Part*>> sets_of(const profile::Profile& profile) {
  std::vector<std::vector<const Part*>> out;
  for (const Part& part : profile.parts) {
    if (!part.coil() || !part.coil()->matched_within_percent) continue;
    const auto same = std::find_if(out.begin(), out.end(),
                                   [&](const auto& set) { return are_equal(*set.front(), part); });
    if (same == out.end())
      out.push_back({&part});
    else
      same->push_back(&part);
  }
  std::erase_if(out, [](const auto& set) { return set.size() < 2; });
  return out;
}

void nothing_to_plan(const profile::Profile&, const Capabilities&, Plan&) {
}  // uses coil-resistance's readings

std::string names_of(const std::vector<const Part*>& set) {
  std::vector<std::string> names;
  for (const Part* part : set) names.push_back(part->name);
  return list_of(names);
}

void judge_set(const Evidence& evidence, const std::vector<const Part*>& set, Judgement& out) {
  Result result;
  result.check = kName;
  result.subject = set.front()->name;
  result.aspect = "spread";
  result.title = "Coils " + names_of(set) + ": spread of resistance";
  const record::Reading* least = nullptr;
  const record::Reading* most = nullptr;
  Resistance sum;
  for (const Part* part : set) {
    const auto* reading = evidence.reading({"coil-resistance", part->name, ""});
    if (!reading || reading->overload) {
      result.outcome = reading ? Outcome::undecided : Outcome::skipped;
      result.text = "coil " + part->name + " has no resistance to compare";
      out.results.push_back(std::move(result));
      return;
    }
    sum += reading->ohm();
    if (!least || reading->ohm() < least->ohm()) least = reading;
    if (!most || reading->ohm() > most->ohm()) most = reading;
  }
  const Resistance mean = sum / static_cast<double>(set.size());
  const double u_ohm = std::hypot(least->estimate(Unit::ohm).u, most->estimate(Unit::ohm).u);
  const Estimate spread{100 * (most->ohm() - least->ohm()) / mean, 100 * u_ohm / mean.si()};
  double limit = INFINITY;
  for (const Part* part : set) limit = std::min(limit, *part->coil()->matched_within_percent);
  judge_number(evidence, spread, Unit::percent, {-INFINITY, limit}, result);
  result.text += "; lowest " + least->key.subject + " " + text_of(*least) + ", highest " +
                 most->key.subject + " " + text_of(*most);
  if (result.outcome == Outcome::fail)
    out.findings.push_back(
        {"unmatched-coil",
         least->key.subject,
         "The coils " + names_of(set) + " differ more than coils of one pack may.",
         {},
         {result.title + ": " + result.text},
         "The odd one out may have shorted turns or a bad joint, even inside its limits."});
  out.results.push_back(std::move(result));
}

void judge_sets(const Evidence& evidence, Judgement& out) {
  for (const auto& set : sets_of(evidence.profile())) judge_set(evidence, set, out);
}

}  // namespace

const CheckKind kMatchedSet{.name = kName,
                            .heading = "Matched coils",
                            .driven = false,
                            .plan = nothing_to_plan,
                            .follow_up = nullptr,
                            .judge = judge_sets};

}  // namespace pinproof::inspection
