// Coils that share a terminal, all at once: their conductances must add up to what each shows
// alone. A coil that is open while its pin touches the pin of another reads that one's resistance,
// and nothing else at rest would show it (two faults, or one chafed loom). Relays only: two probes
// cannot tie pins together.
#include <algorithm>
#include <cmath>

#include "inspection/checks/check.h"
#include "inspection/checks/wires.h"
#include "quantity/text.h"

namespace pinproof::inspection {
namespace {

using profile::Part;

constexpr std::string_view kName = "coils-together";
constexpr int kRepeats = 3;
// Of what the least coil's absence would change: a good pack differs by nothing.
constexpr double kShare = 0.75;

struct CoilGroup {
  std::string shared;          // the terminal
  std::string node;            // where the coils meet behind it
  const Part* wire = nullptr;  // from the terminal to the node, where they are two
  std::vector<const Part*> coils;
  std::vector<std::string> far;
  Resistance expected() const {
    Conductance sum;
    for (const Part* coil : coils) sum += 1 / Resistance{coil->coil()->resistance_ohm.middle()};
    return 1 / sum;
  }
  bool alone = true;  // no other group shares its terminal
};

// The terminal, and where coils meet in several places behind it, the place: they are read apart.
record::Key key(const CoilGroup& group) {
  return {std::string(kName), group.shared, group.alone ? "" : "at " + group.node};
}

const Part* wire_between(const profile::Profile& profile, const std::string& a,
                         const std::string& b) {
  for (const Part& part : profile.parts)
    if (part.kind() == profile::PartKind::wire && ((part.between[0] == a && part.between[1] == b) ||
                                                   (part.between[0] == b && part.between[1] == a)))
      return &part;
  return nullptr;
}

void join(std::vector<CoilGroup>& groups, const profile::Profile& profile, const Part& coil,
          const std::string& shared, const std::string& node, const std::string& far) {
  const Part* wire = shared == node ? nullptr : wire_between(profile, shared, node);
  if (shared != node && !wire) return;
  auto it = std::find_if(groups.begin(), groups.end(),
                         [&](const CoilGroup& g) { return g.shared == shared && g.node == node; });
  if (it == groups.end()) it = groups.insert(it, {shared, node, wire, {}, {}, true});
  // Coils that share both terminals are one reading already.
  if (std::find(it->far.begin(), it->far.end(), far) != it->far.end()) return;
  it->coils.push_back(&coil), it->far.push_back(far);
}

std::vector<CoilGroup> groups_of(const profile::Profile& profile) {
  std::vector<CoilGroup> out;
  for (const Part& part : profile.parts) {
    const auto leads = part.coil() ? network::leads_of(profile, part) : std::nullopt;
    if (!leads) continue;
    join(out, profile, part, leads->from, part.between[0], leads->to);
    join(out, profile, part, leads->to, part.between[1], leads->from);
  }
  std::erase_if(out, [](const CoilGroup& g) { return g.coils.size() < 2; });
  for (CoilGroup& group : out)
    group.alone = std::count_if(out.begin(), out.end(), [&](const CoilGroup& other) {
                    return other.shared == group.shared;
                  }) == 1;
  return out;
}

void plan_together(const profile::Profile& profile, const Capabilities& can, Plan& plan) {
  for (const CoilGroup& group : groups_of(profile)) {
    if (!can.tie)
      plan.skip(key(group), kNothingTies, findings::SkipReason::no_ties);
    else
      plan.add({.key = key(group),
                .phase = Phase::rest,
                .state = rest_state(profile),
                .action = OhmStep{{{group.shared}, group.far}, group.expected(), kRepeats},
                .skip_if = {}});
  }
}

// What the readings of each alone add up to, and what it would be without the least of them.
struct Sum {
  Estimate ohm;
  double without_least_ohm = 0;
};

// Nothing, and why: in the result, which is not required where only an optional coil is missing.
std::optional<Sum> sum_of(const Evidence& evidence, const CoilGroup& group, Result& result) {
  const auto without = [&](const std::string& why) {
    result.text = why;
    return std::nullopt;
  };
  const auto wire = group.wire ? wire_ohm(evidence, *group.wire) : Estimate{0, 0};
  if (!wire) return without(group.wire->name + " has no resistance to take off");
  double siemens = 0, least = INFINITY, change = 0;
  std::vector<std::pair<double, double>> each;  // siemens, u of the ohms
  for (const Part* coil : group.coils) {
    const auto* reading = evidence.reading({"coil-resistance", coil->name, ""});
    const double ohm = reading && !reading->overload ? reading->ohm().si() - wire->value : 0;
    if (!(ohm > 0)) {
      result.required = result.required && coil->required;
      return without("coil " + coil->name + " has no resistance to add");
    }
    each.emplace_back(1 / ohm, reading->estimate(Unit::ohm).u);
    siemens += 1 / ohm, least = std::min(least, 1 / ohm);
  }
  // dR/dR_k = (G_k / G)^2; the wire is in every reading, and once more in front.
  double shares = 0;
  for (const auto& [g, u] : each) {
    const double share = std::pow(g / siemens, 2);
    change += share * u, shares += share;  // one meter: its error is common to all
  }
  const double u = std::hypot(change, (1 - shares) * wire->u);
  return Sum{{wire->value + 1 / siemens, u}, wire->value + 1 / (siemens - least)};
}

std::string names_of(const CoilGroup& group) {
  std::vector<std::string> names;
  for (const Part* coil : group.coils) names.push_back(coil->name);
  return list_of(names);
}

void judge_sum(const Evidence& evidence, const CoilGroup& group, const record::Reading& reading,
               Result& result) {
  const auto sum = sum_of(evidence, group, result);
  if (!sum || reading.overload) {
    result.outcome = Outcome::undecided;
    result.text = text_of(reading) + (sum ? "" : "; " + result.text);
    return;
  }
  const double limit = kShare * (sum->without_least_ohm - sum->ohm.value);
  const Estimate ohm = reading.estimate(Unit::ohm);
  const Estimate excess{ohm.value - sum->ohm.value, std::hypot(ohm.u, sum->ohm.u)};
  const std::string both =
      text_of(reading) + " together, each alone adds up to " + format_estimate(sum->ohm, Unit::ohm);
  judge_number(evidence, excess, Unit::ohm, {-limit, limit}, result);
  result.text += "; " + both;
}

Finding finding_for(const CoilGroup& group, const Result& result) {
  const bool less = result.value && result.value->value < 0;
  return {less ? "coils-disagree" : "coil-pins-touch",
          group.shared,
          less ? "The coils " + names_of(group) + " conduct more together than each alone."
               : "The coils " + names_of(group) +
                     " conduct less together than each alone: one of them is open and its pin "
                     "touches another's, so that it reads the other coil.",
          result.pins,
          {result.title + ": " + result.text},
          less ? "A joint or a contact changed between the readings: measure again."
               : "Probe the coils' pins against each other: two that meet at nearly no resistance "
                 "are the pair. Then look at their wires, where they run side by side."};
}

// Whether this record's bench ties pins together: it has then been asked for.
bool ties(const Evidence& evidence) {
  return std::any_of(evidence.record().events.begin(), evidence.record().events.end(),
                     [](const record::Event& event) {
                       const auto* reading = std::get_if<record::Reading>(&event);
                       return reading && reading->key.check == "insulation" &&
                              reading->from.size() + reading->to.size() > 2;
                     });
}

void judge_together(const Evidence& evidence, Judgement& out) {
  for (const CoilGroup& group : groups_of(evidence.profile())) {
    const bool left_out = evidence.skipped(key(group));
    const auto* reading = evidence.reading(key(group));
    if (!reading && !left_out && !ties(evidence)) continue;
    Result result =
        missing(evidence, key(group), "Coils " + names_of(group) + ": together against each alone");
    result.pins = group.far;
    result.pins.insert(result.pins.begin(), group.shared);
    // Left out by the plan, not by a person.
    if (left_out && result.skipped == findings::SkipReason::no_ties) result.required = false;
    if (reading) judge_sum(evidence, group, *reading, result);
    if (result.outcome == Outcome::fail) out.findings.push_back(finding_for(group, result));
    out.results.push_back(std::move(result));
  }
}

}  // namespace

const CheckKind kCoilsTogether{.name = kName,
                               .heading = "Coils together",
                               .driven = false,
                               .plan = plan_together,
                               .follow_up = nullptr,
                               .judge = judge_together};

}  // namespace pinproof::inspection
