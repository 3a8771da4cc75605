// Pressure switches: at rest, under test air at their element, and vented again.
#include <algorithm>

#include "inspection/checks/contacts.h"
#include "quantity/text.h"

namespace pinproof::inspection {
namespace {

using profile::Part;

constexpr std::string_view kName = "pressure-switch";
constexpr int kPressedReadings =
    24;  // one that opens a third of the time is missed 6 times in 100,000

struct SwitchVisit {
  const Part* part;
  network::ContactPair pair;
  std::string role;
  Phase phase;
  network::PackState state;
};

record::Key key(const SwitchVisit& visit) {
  return {std::string(kName), visit.part->name, visit.role};
}

// The rest state of a pin shared by several switches is one reading, but each
// switch keeps its own visit: a few more readings, and every switch has its story.
std::vector<SwitchVisit> visits(const profile::Profile& profile) {
  std::vector<SwitchVisit> out;
  const network::PackState rest = rest_state(profile);
  for (const network::ContactPair& pair : network::contact_pairs(profile)) {
    for (const Part* part : pair.parts) {
      if (!part->pressure_switch()) continue;
      network::PackState pressed = rest;
      pressed.applied = {part->pressure_switch()->element};
      out.push_back({part, pair, "rest", Phase::rest, rest});
      out.push_back({part, pair, "pressed", Phase::air, pressed});
      out.push_back({part, pair, "vented", Phase::vented, rest});
    }
  }
  return out;
}

// Under pressure relays read a switch several times: one that chatters opens in one of them, and
// then reads open. Under probes held by hand its reading never settles.
Step step_for(const profile::Profile& profile, const Capabilities& can, const SwitchVisit& visit) {
  Step out = contact_step(profile, visit.pair, visit.state, key(visit), visit.phase);
  if (visit.role == "pressed" && can.tie) std::get<OhmStep>(out.action).repeats = kPressedReadings;
  return out;
}

void plan_switches(const profile::Profile& profile, const Capabilities& can, Plan& plan) {
  for (const SwitchVisit& visit : visits(profile)) {
    if (visit.phase != Phase::rest && !can.lever)
      plan.skip(key(visit), "this bench cannot apply air");
    else
      plan.add(step_for(profile, can, visit));
  }
}

std::string title_of(const SwitchVisit& visit) {
  const std::string& name = visit.part->name;
  if (visit.role == "pressed")
    return "Switch " + name + ": under air at " + visit.part->pressure_switch()->element;
  return "Switch " + name + (visit.role == "rest" ? ": at rest" : ": after venting");
}

Finding finding_for(const SwitchVisit& visit, const Result& result, char seen, bool expect_closed) {
  const std::string& name = visit.part->name;
  const bool series = visit.part->pressure_switch()->series_ohm.has_value();
  Finding f{"", name, "", result.pins, {result.title + ": " + result.text}, ""};
  if (!expect_closed) {
    f.kind = "switch-stuck-closed";
    f.text = "Pressure switch " + name + " conducts where it must be open.";
    f.next = "Stuck contact, debris, or pin " + result.pins.front() +
             " bridged to its neighbour or to the case.";
  } else if (seen == 'o') {
    f.kind = "switch-stuck-open";
    f.text = "Pressure switch " + name + " does not close.";
    f.next = visit.role == "pressed" ? "Check that air reaches its element; then the contact or "
                                       "its wire is open, or it trips too high."
                                     : "The contact or its wire is open.";
  } else {
    f.kind = series ? "series-resistance" : "contact-resistance";
    f.text = "Pressure switch " + name +
             (series ? " closes through a wrong series resistance."
                     : " closes with too much resistance.");
    f.next = series ? "If all switches with resistors are off in the same way, it is another "
                      "variant of the pack."
                    : "Burnt or dirty contact.";
  }
  return f;
}

void judge_switches(const Evidence& evidence, Judgement& out) {
  for (const SwitchVisit& visit : visits(evidence.profile())) {
    Result result = missing(evidence, key(visit), title_of(visit));
    result.required = visit.part->required;
    if (const auto* reading = evidence.reading(key(visit))) {
      char seen = '?';
      judge_contact(evidence, visit.pair, visit.state, *reading, result, seen);
      const auto expected = network::expectation(evidence.profile(), visit.pair, visit.state);
      const auto told = [&](const Finding& f) {
        return f.part == visit.part->name && f.kind.starts_with("switch");
      };
      if (result.outcome == Outcome::fail &&
          std::none_of(out.findings.begin(), out.findings.end(), told))
        out.findings.push_back(finding_for(visit, result, seen, expected->closed));
    }
    out.results.push_back(std::move(result));
  }
}

}  // namespace

const CheckKind kSwitches{.name = kName,
                          .heading = "Pressure switches",
                          .driven = false,
                          .plan = plan_switches,
                          .follow_up = nullptr,
                          .judge = judge_switches};

}  // namespace pinproof::inspection
