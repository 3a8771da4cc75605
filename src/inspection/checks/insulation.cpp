// Each circuit against everything else tied together: one reading says that all
// its pairs are above the limit. Only where it is not, the pairs are read one
// by one. Lines that the lever closes at rest are read in a position that opens them.
// Two probes cannot tie: there each pair of circuits is read once.
#include <algorithm>
#include <set>

#include "inspection/checks/check.h"
#include "quantity/text.h"

namespace pinproof::inspection {
namespace {

constexpr std::string_view kName = "insulation";
constexpr Resistance kBridge{1};  // below, metal touches metal
constexpr Resistance kWet{1000};  // several above it look like water or dust

struct InsulatedCircuit {
  std::vector<std::string> circuit;
  std::vector<std::string> others;  // all other terminals that are not joined to it
  std::vector<std::string> pairs;   // one terminal of each circuit that no earlier target met
  network::PackState state;
};

// Part of the keys of stored records: it stays as it is, whatever a person is shown.
std::string subject_of(const std::vector<std::string>& circuit) {
  return (circuit.size() == 1 ? "pin " : "pins ") + list_of(circuit);
}

record::Key key(const InsulatedCircuit& target) {
  return {std::string(kName), subject_of(target.circuit), ""};
}

record::Key pair_key(const InsulatedCircuit& target, const std::string& other) {
  return {std::string(kName), subject_of(target.circuit), "to " + other};
}

std::vector<std::string> terminals_besides(const std::vector<std::vector<std::string>>& circuits,
                                           std::size_t index) {
  std::vector<std::string> out;
  for (std::size_t i = 0; i < circuits.size(); ++i)
    if (i != index) out.insert(out.end(), circuits[i].begin(), circuits[i].end());
  return out;
}

// A target was read against everything else there is: circuits made of earlier
// targets need not be read against this one again. The case stands for its circuit.
std::vector<std::string> not_yet_met(const std::vector<std::vector<std::string>>& circuits,
                                     std::size_t index, const std::set<std::string>& done) {
  std::vector<std::string> out;
  for (std::size_t i = 0; i < circuits.size(); ++i) {
    const auto& circuit = circuits[i];
    const bool met = std::all_of(circuit.begin(), circuit.end(),
                                 [&](const auto& pin) { return done.contains(pin); });
    if (i != index && !met) out.push_back(i == 0 ? std::string(profile::kCase) : circuit.front());
  }
  return out;
}

// Every circuit that can be free of the case, in the first state where it is.
std::vector<InsulatedCircuit> targets(const profile::Profile& profile) {
  std::vector<InsulatedCircuit> out;
  std::set<std::string> done;
  const std::size_t positions = profile.lever ? profile.lever->positions.size() : 1;
  for (std::size_t p = 0; p < positions; ++p) {
    network::PackState state;
    if (profile.lever) state.lever = p;
    const auto circuits = network::circuits(profile, state);
    for (std::size_t i = 1; i < circuits.size(); ++i) {  // 0 holds the case
      if (std::all_of(circuits[i].begin(), circuits[i].end(),
                      [&](const auto& pin) { return done.contains(pin); }))
        continue;
      out.push_back(
          {circuits[i], terminals_besides(circuits, i), not_yet_met(circuits, i, done), state});
      done.insert(circuits[i].begin(), circuits[i].end());
    }
  }
  return out;
}

void plan_insulation(const profile::Profile& profile, const Capabilities& can, Plan& plan) {
  for (const InsulatedCircuit& target : targets(profile)) {
    const Phase phase = target.state.lever.value_or(0) == 0 ? Phase::rest : Phase::lever;
    if (phase == Phase::lever && !can.lever) {
      plan.skip(key(target), "this bench cannot move the lever to where the circuit is free");
    } else if (can.tie) {
      plan.add({.key = key(target),
                .phase = phase,
                .state = target.state,
                .action = OhmStep{{target.circuit, target.others}, Resistance{INFINITY}, 1},
                .skip_if = {}});
    } else {
      for (const std::string& other : target.pairs)
        plan.add({.key = pair_key(target, other),
                  .phase = phase,
                  .state = target.state,
                  .action = OhmStep{{{target.circuit.front()}, {other}}, Resistance{INFINITY}, 1},
                  .skip_if = {}});
    }
  }
}

bool too_low(const record::Reading& reading, double limit) {
  if (reading.overload) return false;
  const Estimate ohm = reading.estimate(Unit::ohm);
  return ohm.value - 2 * ohm.u < limit;
}

void follow_up_insulation(const Evidence& evidence, const Capabilities& can, Plan& plan) {
  for (const InsulatedCircuit& target : targets(evidence.profile())) {
    const auto* reading = evidence.reading(key(target));
    if (!reading || !too_low(*reading, evidence.profile().insulation_ohm)) continue;
    const Phase phase =
        target.state.lever.value_or(0) == 0 || !can.lever ? Phase::rest : Phase::lever;
    for (const std::string& other : target.others)
      plan.add({.key = pair_key(target, other),
                .phase = phase,
                .state = target.state,
                .action = OhmStep{{{target.circuit.front()}, {other}}, Resistance{INFINITY}, 1},
                .skip_if = {}});
  }
}

struct Leak {
  std::string other;
  const record::Reading* reading;
};

// A leak to the case shows on every pin that the case reaches: one is enough,
// the case itself where it is among them.
void keep_one_a_circuit(const profile::Profile& profile, const InsulatedCircuit& target,
                        std::vector<Leak>& leaks) {
  for (const auto& circuit : network::circuits(profile, target.state)) {
    const Leak* kept = nullptr;
    for (const Leak& leak : leaks)
      if (std::find(circuit.begin(), circuit.end(), leak.other) != circuit.end() &&
          (!kept || leak.other == profile::kCase))
        kept = &leak;
    if (!kept) continue;
    const std::string other = kept->other;
    std::erase_if(leaks, [&](const Leak& leak) {
      return leak.other != other &&
             std::find(circuit.begin(), circuit.end(), leak.other) != circuit.end();
    });
  }
}

std::vector<Leak> leaks_of(const Evidence& evidence, const InsulatedCircuit& target) {
  std::vector<Leak> out;
  for (const std::string& other : target.others) {
    const auto* reading = evidence.reading(pair_key(target, other));
    if (reading && too_low(*reading, evidence.profile().insulation_ohm))
      out.push_back({other, reading});
  }
  keep_one_a_circuit(evidence.profile(), target, out);
  std::sort(out.begin(), out.end(),
            [](const Leak& a, const Leak& b) { return a.reading->ohm() < b.reading->ohm(); });
  return out;
}

Finding finding_for(const InsulatedCircuit& target, const Result& result,
                    const std::vector<Leak>& leaks) {
  Finding f{"leak",         subject_of(target.circuit),          "",
            target.circuit, {result.title + ": " + result.text}, ""};
  std::string other = "something else";
  if (!leaks.empty()) {
    other = leaks.front().other == profile::kCase ? "the case" : "pin " + leaks.front().other;
    f.pins = {target.circuit.front(), leaks.front().other};
    for (std::size_t i = 0; i < std::min<std::size_t>(leaks.size(), 4); ++i)
      f.evidence.push_back("to " + leaks[i].other + ": " + text_of(*leaks[i].reading));
    if (leaks.front().reading->ohm() < kBridge) f.kind = "bridge";
    if (leaks.size() >= 3 && leaks.front().reading->ohm() > kWet) f.kind = "contamination";
  }
  f.text = "The circuit of " + subject_of(target.circuit) +
           (f.kind == "bridge" ? " is bridged to " : " leaks to ") + other + ".";
  f.next = f.kind == "contamination"
               ? "Many small leaks at once look like water or metal dust in the connector: clean, "
                 "dry, measure again."
               : "Look for metal debris, crushed insulation and bent pins; retest after cleaning.";
  return f;
}

// What to name when a pair was left out: the first that was.
record::Key first_missing(const Evidence& evidence, const InsulatedCircuit& target) {
  for (const std::string& other : target.pairs)
    if (!evidence.reading(pair_key(target, other))) return pair_key(target, other);
  return pair_key(target, target.pairs.front());
}

// Every pair must hold: the worst outcome counts, and the lowest of its readings stands for it.
void judge_worst(const Evidence& evidence, const std::vector<const record::Reading*>& read,
                 Result& out) {
  const auto badness = [](const Result& r) {
    return r.outcome == Outcome::fail ? 2 : r.outcome == Outcome::pass ? 0 : 1;
  };
  const auto lower = [](const Result& a, const Result& b) {
    return a.value && (!b.value || a.value->value < b.value->value);
  };
  std::optional<Result> worst;
  for (const record::Reading* reading : read) {
    Result one = out;
    judge_open(evidence, *reading, evidence.profile().insulation_ohm, one);
    if (!worst || badness(one) > badness(*worst) ||
        (badness(one) == badness(*worst) && lower(one, *worst)))
      worst = std::move(one);
  }
  out = *std::move(worst);
}

void judge_target(const Evidence& evidence, const InsulatedCircuit& target, bool by_pairs,
                  Judgement& out) {
  if (by_pairs && target.pairs.empty()) return;  // every circuit before it was read against it
  Result result = missing(
      evidence,
      by_pairs && !evidence.skipped(key(target)) ? first_missing(evidence, target) : key(target),
      "Insulation of " + subject_of(target.circuit));
  result.aspect.clear();  // one result a circuit, however it was read
  const auto* tied = evidence.reading(key(target));
  const auto leaks = leaks_of(evidence, target);
  std::vector<const record::Reading*> read;
  if (tied) read.push_back(tied);
  if (!tied)
    for (const std::string& other : target.pairs)
      if (const auto* reading = evidence.reading(pair_key(target, other))) read.push_back(reading);
  const bool complete = tied || (by_pairs && read.size() == target.pairs.size());
  if (complete && !read.empty()) {
    judge_worst(evidence, read, result);
    result.pins = target.circuit;
    if (result.outcome == Outcome::fail) out.findings.push_back(finding_for(target, result, leaks));
  }
  out.results.push_back(std::move(result));
}

void judge_insulation(const Evidence& evidence, Judgement& out) {
  const auto all = targets(evidence.profile());
  // Two probes: nothing was read tied, and pairs were read.
  const bool tied = std::any_of(
      all.begin(), all.end(), [&](const InsulatedCircuit& t) { return evidence.reading(key(t)); });
  const bool pairs = std::any_of(all.begin(), all.end(), [&](const InsulatedCircuit& t) {
    return std::any_of(t.pairs.begin(), t.pairs.end(), [&](const std::string& other) {
      return evidence.reading(pair_key(t, other));
    });
  });
  for (const InsulatedCircuit& target : all) judge_target(evidence, target, pairs && !tied, out);
}

}  // namespace

const CheckKind kInsulation{.name = kName,
                            .heading = "Insulation",
                            .driven = false,
                            .plan = plan_insulation,
                            .follow_up = follow_up_insulation,
                            .judge = judge_insulation};

}  // namespace pinproof::inspection
