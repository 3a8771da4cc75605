// The coils of each gear together at supply voltage: what the feed loses before
// the splice, and by how much the case rises against the ground pin.
#include <algorithm>
#include <cmath>
#include <limits>
#include <span>

#include "inspection/checks/check.h"
#include "inspection/checks/drive.h"
#include "quantity/statistics.h"
#include "quantity/text.h"

namespace pinproof::inspection {
namespace {

using profile::Part;

constexpr std::string_view kName = "gear-load";
constexpr Duration kPulse{0.06};
constexpr Duration kAfter{0.01};
constexpr Voltage kProbeRange{2};
constexpr double kSag =
    0.05;  // of the set voltage; more means the supply is too weak to say anything

// Variable-force coils are left out: they never see the full supply voltage.
std::vector<const Part*> coils_of(const profile::Profile& profile, const profile::Gear& gear) {
  std::vector<const Part*> out;
  for (const std::string& name : gear.energised) {
    const Part* part = profile.find_part(name);
    if (part->coil()->coil_class == profile::CoilClass::on_off) out.push_back(part);
  }
  return out;
}

struct GearProbe {
  std::string role;
  bench::Connection at;
  double limit_V;
};

// The pin of a coil that carries no current is a probe at the splice.
std::vector<GearProbe> probes_of(const profile::Profile& profile,
                                 const std::vector<const Part*>& on) {
  std::vector<GearProbe> out{{"ground rise",
                              {{std::string(profile::kCase)}, {profile.ground_pin}},
                              profile.load->ground_rise_V}};
  const auto first = network::leads_of(profile, *on.front());
  if (!first || first->wires.empty()) return out;
  for (const Part& idle : profile.parts) {
    if (!idle.coil() || std::find(on.begin(), on.end(), &idle) != on.end()) continue;
    const auto leads = network::leads_of(profile, idle);
    if (!leads || leads->from != first->from || leads->to == first->from) continue;
    out.push_back({"feed drop", {{first->from}, {leads->to}}, profile.load->feed_drop_V});
    break;
  }
  return out;
}

record::Key key(const profile::Gear& gear, const std::string& role) {
  return {std::string(kName), gear.name, role};
}

// Drive high and low terminals of all the coils at once.
std::optional<bench::Connection> together(const profile::Profile& profile,
                                          const std::vector<const Part*>& on) {
  bench::Connection out;
  const auto add = [](std::vector<std::string>& side, const std::string& terminal) {
    if (std::find(side.begin(), side.end(), terminal) == side.end()) side.push_back(terminal);
  };
  for (const Part* part : on) {
    const auto at = drive_terminals(profile, *part);
    if (!at) return std::nullopt;
    add(out.high, at->high.front());
    add(out.low, at->low.front());
  }
  return out;
}

template <class Visit>
void each_gear(const profile::Profile& profile, Visit visit) {
  if (!profile.load) return;
  std::vector<std::vector<const Part*>> seen;  // gears with equal coils answer once
  for (const profile::Gear& gear : profile.gears) {
    const auto on = coils_of(profile, gear);
    if (on.empty() || std::find(seen.begin(), seen.end(), on) != seen.end()) continue;
    seen.push_back(on);
    visit(gear, on);
  }
}

void plan_gears(const profile::Profile& profile, const Capabilities& can, Plan& plan) {
  each_gear(profile, [&](const profile::Gear& gear, const std::vector<const Part*>& on) {
    const auto connection = together(profile, on);
    Current limit;
    for (const Part* part : on) limit += drive_limits(profile, *part, can).limit;
    for (const GearProbe& probe : probes_of(profile, on)) {
      const auto k = key(gear, probe.role);
      if (!can.drive || !connection || limit > Current{can.supply_max_A}) {
        plan.skip(k, !can.drive ? "this bench cannot drive coils"
                                : "its coils together need more current than the supply gives");
        continue;
      }
      DriveStep step{
          gear.energised, *connection, probe.at, drive_limits(profile, *on.front(), can).voltage,
          limit,          kPulse,      kAfter,   kProbeRange};
      step.coils.clear();
      for (const Part* part : on) step.coils.push_back(part->name);
      const std::vector<std::string> names = step.coils;
      plan.add({.key = k,
                .phase = Phase::drive,
                .state = rest_state(profile),
                .action = std::move(step),
                .skip_if = [names, &profile](const record::Record& record) {
                  return unsafe_to_drive(profile, record, names);
                }});
    }
  });
}

constexpr std::size_t kFewest = 8;  // samples that a mean and its spread are taken of

// Mean over the last quarter of the pulse, where everything has settled.
struct SettledPulse {
  double probe_V = 0, probe_sd = 0, current_A = 0, supply_V = 0;
};

SettledPulse settled_of(const record::PulseCapture& capture) {
  const auto index = [&](double s) {
    return static_cast<std::size_t>(std::max(0.0, (s - capture.start_s) / capture.interval_s));
  };
  const double driven_s = record::driven_s(capture);
  const std::size_t from = index(0.75 * driven_s);
  const std::size_t to =
      std::min({index(0.98 * driven_s), capture.current_A.size(), capture.probe_V.size()});
  constexpr double kNone = std::numeric_limits<double>::quiet_NaN();
  if (to < from + kFewest) return {kNone, kNone, kNone, kNone};
  const auto mean = [&](const std::vector<double>& v) {
    if (v.size() < to) return kNone;
    return mean_of(std::span(v).subspan(from, to - from));
  };
  SettledPulse out{mean(capture.probe_V), 0, mean(capture.current_A), mean(capture.supply_V)};
  // By the means of blocks: hum moves neighbouring samples together, and many of them say no more.
  constexpr std::size_t kBlocks = 8;
  const std::size_t each = (to - from) / kBlocks;
  double sum = 0;
  for (std::size_t b = 0; b < kBlocks; ++b) {
    const double block = mean_of(std::span(capture.probe_V).subspan(from + b * each, each));
    sum += std::pow(block - out.probe_V, 2);
  }
  // A slow swing leaves the blocks no more independent than one another: not divided by them.
  out.probe_sd = std::sqrt(sum / (kBlocks - 1));
  return out;
}

// A drop says nothing unless the coils drew their current, at the voltage that was set.
void doubt_load(const Evidence& evidence, const record::PulseCapture& capture,
                const SettledPulse& s, Result& result) {
  constexpr double kLeastShare = 0.7;  // of the current by the profile's limits: hot coils, joints
  double wanted_A = 0;
  for (const std::string& name : capture.coils) {
    const Part* part = evidence.profile().find_part(name);
    if (part && part->coil()) wanted_A += capture.set_V / part->coil()->resistance_ohm.high;
  }
  const bool set = capture.set_V > 0.5 * evidence.profile().supply_V;
  if (!(s.supply_V >= (1 - kSag) * capture.set_V) || !set) {
    result.outcome = Outcome::undecided;
    result.text += ": it sags too much to load the pack";
  } else if (!(s.current_A >= kLeastShare * wanted_A)) {
    result.outcome = Outcome::undecided;
    result.text += ": the coils do not draw their " + format_si(wanted_A, Unit::ampere, 3);
  }
}

// The same wire fails in every gear that loads it: one finding with each gear's figure.
// With the ground lost the case floats, and its voltage says nothing more.
void add_finding(Judgement& out, Finding finding) {
  const auto lost = [](const Finding& f) { return f.kind == "lost-ground"; };
  if (finding.kind == "ground-rise" && std::any_of(out.findings.begin(), out.findings.end(), lost))
    return;
  for (Finding& known : out.findings) {
    if (known.kind != finding.kind) continue;
    known.part += ", " + finding.part;
    known.evidence.push_back(finding.evidence.front());
    return;
  }
  out.findings.push_back(std::move(finding));
}

void judge_load(const Evidence& evidence, const profile::Gear& gear, const GearProbe& probe,
                Judgement& out) {
  Result result = missing(evidence, key(gear, probe.role),
                          "Gear " + gear.name + ": " + probe.role + " under load");
  if (const auto* capture = evidence.capture(key(gear, probe.role))) {
    const SettledPulse s = settled_of(*capture);
    result.pins = {probe.at.high.front(), probe.at.low.front()};
    const Estimate drop{std::abs(s.probe_V), std::hypot(s.probe_sd, capture->voltage_offset_u,
                                                        capture->voltage_gain_u * s.probe_V)};
    judge_number(evidence, drop, Unit::volt, {-INFINITY, probe.limit_V}, result);
    result.text += " at " + format_si(s.current_A, Unit::ampere, 3) + "; supply " +
                   format_si(s.supply_V, Unit::volt, 4) + " of " +
                   format_si(capture->set_V, Unit::volt, 4);
    if (result.outcome == Outcome::pass) doubt_load(evidence, *capture, s, result);
    if (result.outcome == Outcome::fail)
      add_finding(out,
                  {probe.role == "feed drop" ? "feed-drop" : "ground-rise",
                   gear.name,
                   probe.role == "feed drop"
                       ? "The coil feed loses too much voltage when the coils of a gear are on."
                       : "The case rises above the ground pin when the coils of a gear are on: the "
                         "ground is poor or a coil leaks to the case.",
                   result.pins,
                   {result.title + ": " + result.text},
                   "Compare with the same wire's resistance at low current: film and broken "
                   "strands show only under load."});
  }
  out.results.push_back(std::move(result));
}

void judge_gears(const Evidence& evidence, Judgement& out) {
  each_gear(evidence.profile(), [&](const profile::Gear& gear, const std::vector<const Part*>& on) {
    for (const GearProbe& probe : probes_of(evidence.profile(), on))
      judge_load(evidence, gear, probe, out);
  });
}

}  // namespace

const CheckKind kGearLoad{.name = kName,
                          .heading = "Feed and ground under the load of each gear",
                          .driven = true,
                          .plan = plan_gears,
                          .follow_up = nullptr,
                          .judge = judge_gears};

}  // namespace pinproof::inspection
