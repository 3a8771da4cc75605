// Each coil driven once: what its current and voltage say about winding,
// suppression and plunger.
#include <algorithm>
#include <cmath>

#include "inspection/checks/check.h"
#include "inspection/checks/coil_expected.h"
#include "inspection/checks/coil_traces.h"
#include "inspection/checks/drive.h"
#include "inspection/checks/drive_bench.h"
#include "inspection/checks/suppression.h"
#include "metrology/copper.h"
#include "quantity/statistics.h"
#include "quantity/text.h"

namespace pinproof::inspection {
namespace {

using profile::Part;
using waveform::CoilFigures;

constexpr std::string_view kName = "coil-drive";
constexpr double kTimeConstants = 14;  // of L/R at the limits: the settled end must be flat
constexpr Duration kShortest{0.06};
constexpr Duration kAfter{0.03};
constexpr double kLoadAgreement =
    0.04;                         // resistance under load against at rest; a bad joint shows here
constexpr double kModel = 0.03;   // of inductance: the one-exponential model against real iron
constexpr double kTiming = 0.02;  // of switching times: supply drop and temperature of this bench

record::Key key(const Part& coil) { return {std::string(kName), coil.name, ""}; }

Duration pulse_for(const profile::Coil& coil) {
  const Inductance inductance{coil.inductance_H ? coil.inductance_H->high : 0.02};
  const Duration wanted = kTimeConstants * inductance / Resistance{coil.resistance_ohm.low};
  return std::min(std::max(kShortest, wanted), Duration{coil.energy.max_pulse_s});
}

void plan_drive(const profile::Profile& profile, const Capabilities& can, Plan& plan) {
  for (const Part& part : profile.parts) {
    if (!part.coil()) continue;
    const auto terminals = drive_terminals(profile, part);
    if (!can.drive || !terminals) {
      plan.skip(key(part), can.drive ? "no terminal reaches it by wires alone"
                                     : "this bench cannot drive coils");
      continue;
    }
    const DriveLimits limits = drive_limits(profile, part, can);
    DriveStep step{{part.name},  *terminals,
                   *terminals,   limits.voltage,
                   limits.limit, pulse_for(*part.coil()),
                   kAfter,       probe_range(part.coil()->suppression)};
    plan.add({.key = key(part),
              .phase = Phase::drive,
              .state = rest_state(profile),
              .action = std::move(step),
              .skip_if = [name = part.name, &profile](const record::Record& record) {
                return unsafe_to_drive(profile, record, {name});
              }});
  }
}

CoilFigures figures_of(const Part& part, const record::PulseCapture& capture) {
  return waveform::analyse(samples_of(capture), analysis_options(*part.coil(), capture));
}

// What a wrong shunt would make fail in a good coil.
bool rests_on_amperes(std::string_view kind) {
  return kind == "load-dependent-resistance" || kind == "draws-too-much" ||
         kind == "inductance-low" || kind == "inductance-high" || kind == "weak-spring" ||
         kind == "hard-to-move";
}

// One coil's results while they are gathered.
struct Judging {
  const Evidence& evidence;
  const Part& part;
  const CoilFigures& figures;
  std::vector<std::string> pins;
  bool wrong_scale;  // of the current, for all coils alike
  Judgement& out;

  Result start(const char* aspect, const std::string& what) const {
    Result result;
    result.subject = part.name;
    result.aspect = aspect;
    result.title = "Coil " + part.name + ": " + what;
    result.required = part.required;
    result.pins = pins;
    return result;
  }
  void add(Result result, const std::string& kind, const std::string& text,
           const std::string& next) const {
    if (result.outcome == Outcome::fail && wrong_scale && rests_on_amperes(kind)) {
      result.outcome = Outcome::bench_fault;
      result.text += "; the current is measured wrong, see the bench under load";
    }
    if (result.outcome == Outcome::fail)
      out.findings.push_back(
          {kind, part.name, text, pins, {result.title + ": " + result.text}, next});
    out.results.push_back(std::move(result));
  }
};

Estimate widened(const Estimate& value, double relative) {
  return {value.value, std::hypot(value.u, relative * value.value / 2)};
}

void judge_load(const Judging& j) {
  Result result = j.start("resistance-under-load", "resistance under load against at rest");
  const auto* rest = j.evidence.reading({"coil-resistance", j.part.name, ""});
  if (!rest || rest->overload || !j.figures.resistance_ohm.usable()) {
    result.outcome = Outcome::undecided;
    result.text = "no resistance at rest to compare with";
  } else {
    const Estimate at_rest = rest->estimate(Unit::ohm);
    const Estimate& load = j.figures.resistance_ohm;
    const double change = 100 * (load.value / at_rest.value - 1);
    const double u = 100 * std::hypot(load.u / at_rest.value, at_rest.u / at_rest.value);
    judge_number(j.evidence, {change, u}, Unit::percent,
                 {-100 * kLoadAgreement, 100 * kLoadAgreement}, result);
    result.text += "; " + format_estimate(j.figures.resistance_ohm, Unit::ohm) + " at " +
                   format_si(j.figures.final_current_A.value, Unit::ampere, 3);
  }
  j.add(std::move(result), "load-dependent-resistance",
        "Coil " + j.part.name +
            " has another resistance under load than at rest: a joint, film or leak.",
        "Higher under load: a joint that heats. Lower: a film at small current, or a suppression "
        "diode that conducts.");
}

void judge_inductance(const Judging& j) {
  if (!j.part.coil()->inductance_H) return;
  Result result = j.start(findings::kInductance, "inductance, plunger at rest");
  if (!j.figures.inductance_H.usable()) {
    result.outcome = Outcome::undecided;
    result.text =
        "no fit: " + (j.figures.fit.reason.empty()
                          ? std::string("the rise before the plunger moves cannot be read")
                          : j.figures.fit.reason);
  } else {
    judge_number(j.evidence, widened(j.figures.inductance_H, kModel), Unit::henry,
                 *j.part.coil()->inductance_H, result);
  }
  const bool low = result.value && result.value->value < j.part.coil()->inductance_H->middle();
  j.add(std::move(result), low ? "inductance-low" : "inductance-high",
        low ? "Coil " + j.part.name +
                  " has too little inductance: shorted turns, a weak magnetic circuit or a wrong "
                  "part."
            : "Coil " + j.part.name +
                  " has too much inductance at rest: the plunger stands seated, or a wrong part.",
        "With the resistance low as well it is shorted turns; with the resistance right, the "
        "magnetic circuit.");
}

void judge_plunger(const Judging& j) {
  if (j.part.coil()->coil_class == profile::CoilClass::variable) return;
  Result result = j.start("plunger", "plunger moves");
  result.outcome = j.figures.plunger == waveform::Plunger::moved            ? Outcome::pass
                   : j.figures.plunger == waveform::Plunger::no_motion_seen ? Outcome::fail
                                                                            : Outcome::undecided;
  result.text = j.figures.plunger_reason;
  j.add(std::move(result), "no-plunger-motion",
        "The plunger of coil " + j.part.name + " was not seen to move.",
        "Dirt, a bent core or a broken spring; free it or replace it, then drive it again.");
}

void judge_timing(const Judging& j) {
  const auto& coil = *j.part.coil();
  if (coil.pull_in_s) {
    Result result = j.start(findings::kPullIn, "time to seating");
    if (j.figures.pull_in) {
      judge_number(j.evidence, widened({j.figures.pull_in->at_s, j.figures.pull_in->u_s}, kTiming),
                   Unit::second, *coil.pull_in_s, result);
    } else {
      result.outcome = Outcome::undecided;
      result.text = "the plunger was not seen to seat";
    }
    const bool slow = result.value && result.value->value > coil.pull_in_s->middle();
    j.add(std::move(result), slow ? "slow-plunger" : "fast-plunger",
          std::string("Coil ") + j.part.name +
              (slow ? " seats late: sticky, weak or short of voltage."
                    : " seats early: a weak or broken spring, or a wrong part."),
          "Compare with its sister coils at the same supply and temperature.");
  }
  if (coil.pull_in_current_A) {
    Result result = j.start(findings::kPullInCurrent, "current at which the plunger starts");
    if (j.figures.current_peak) {
      judge_number(
          j.evidence,
          {j.figures.current_peak->current_A,
           std::hypot(j.figures.final_current_A.u, 0.003 * j.figures.current_peak->current_A)},
          Unit::ampere, *coil.pull_in_current_A, result);
    } else {
      result.outcome = Outcome::undecided;
      result.text = "no dip in the current";
    }
    const bool low = result.value && result.value->value < coil.pull_in_current_A->middle();
    j.add(std::move(result), low ? "weak-spring" : "hard-to-move",
          std::string("The plunger of coil ") + j.part.name +
              (low ? " starts at too small a current: weak or broken spring."
                   : " needs too much current to start: sticky, too strong a spring or a weak "
                     "magnet."),
          "Compare with its sister coils.");
  }
  if (coil.release_s) {
    Result result = j.start(findings::kRelease, "time to release");
    if (j.figures.release_s.usable()) {
      judge_number(j.evidence, widened(j.figures.release_s, kTiming), Unit::second, *coil.release_s,
                   result);
    } else {
      result.outcome = Outcome::undecided;
      result.text = j.figures.release_reason;
    }
    j.add(std::move(result), "release-time", "Coil " + j.part.name + " releases outside its time.",
          "Sticky plunger, residual magnetism or spring.");
  }
}

void judge_suppression(const Judging& j, const record::PulseCapture& capture) {
  Result result = j.start("suppression", "suppression at switch-off");
  const auto seen = suppression_seen(j.part.coil()->suppression, capture, j.figures.off_s,
                                     j.evidence.record().header.bench_clamp_V);
  result.outcome = seen.outcome, result.text = seen.text;
  j.add(std::move(result), seen.diode ? "suppression-unexpected" : "suppression-missing",
        "Coil " + j.part.name +
            (seen.diode ? " is suppressed where it must not be."
                        : " has lost its suppression diode."),
        "Without suppression the controller's driver takes the spike. Check the diode and which "
        "variant of the pack this is.");
}

// Traces of all coils before any is judged: what they have in common is the bench's.
void take_trace(const Evidence& evidence, const Part& part, Judgement& out) {
  const auto* capture = evidence.capture(key(part));
  for (std::size_t e = 0; capture && e < evidence.record().events.size(); ++e)
    if (std::get_if<record::PulseCapture>(&evidence.record().events[e]) == capture)
      out.traces.push_back({part.name, e, figures_of(part, *capture)});
}

void judge_coil(const Evidence& evidence, const Part& part, bool wrong_scale, Judgement& out) {
  const auto* capture = evidence.capture(key(part));
  const CoilTrace* trace = trace_of(out, part.name);
  if (!capture || !trace) {
    Result result = missing(evidence, key(part), "Coil " + part.name + ": driven");
    result.aspect = "driven";
    result.required = part.required;
    out.results.push_back(std::move(result));
    return;
  }
  const CoilFigures& figures = trace->figures;
  const Judging j{evidence, part, figures, capture->probe, wrong_scale, out};
  Result driven = j.start("driven", "driven");
  const DriveTrouble trouble = trouble_of(figures, *capture);
  driven.outcome = trouble.outcome;
  driven.text = trouble.text;
  const bool broke_off = std::isfinite(figures.broke_off_s);
  const bool open = broke_off || figures.status == waveform::Status::no_current;
  j.add(std::move(driven), open ? "coil-open" : "draws-too-much",
        "Coil " + part.name +
            (broke_off ? " loses its current while it is driven."
             : open    ? " carries no current when driven."
                    : " draws more current than a good coil: a short, shorted turns or a reversed "
                      "suppression diode."),
        open ? "An open that comes and goes: wiggle the wire and warm the coil."
             : "If its resistance at rest is right, suspect the suppression diode.");
  if (trouble.outcome != Outcome::pass) return;
  judge_load(j);
  judge_inductance(j);
  judge_plunger(j);
  judge_timing(j);
  judge_suppression(j, *capture);
}

struct Sisters {
  double ohm = 0, henry = 0;  // medians of the equal coils, or the middle of the limits
};

// Equal coils of the same pack share lot and temperature, so their median is a
// sharper measure than the limits.
Sisters sisters_of(const Evidence& evidence, const Judgement& judgement, const Part& part) {
  std::vector<double> ohm, henry;
  for (const Part& other : evidence.profile().parts) {
    if (!are_equal(part, other)) continue;
    const auto* trace = trace_of(judgement, other.name);
    if (!trace || !trace->figures.inductance_H.usable()) continue;
    ohm.push_back(trace->figures.resistance_ohm.value);
    henry.push_back(trace->figures.inductance_H.value);
  }
  if (ohm.size() >= 3) return {median_of(ohm), median_of(henry)};
  const double warm = metrology::copper_ratio(evidence.celsius().value_or(Estimate{23, 5}).value,
                                              part.coil()->resistance_celsius);
  return {part.coil()->resistance_ohm.middle() * warm, part.coil()->inductance_H->middle()};
}

// Turns shorted in the share p lower R by p and L by 1 - (1 - p)^2 (circuit
// theory: R goes with the turns, L with their square). Named only when another
// check of this coil has failed: this is an explanation, not a check.
struct Shortfall {
  const Part* part;
  double resistance, inductance;  // lost shares
};

std::optional<Shortfall> shortfall_of(const Evidence& evidence, const Part& part,
                                      const Judgement& judgement) {
  constexpr double kLeast = 0.04;
  const auto* trace = trace_of(judgement, part.name);
  const bool failed = std::any_of(judgement.findings.begin(), judgement.findings.end(),
                                  [&](const Finding& f) { return f.part == part.name; });
  if (!trace || !failed || !part.coil()->inductance_H || !trace->figures.inductance_H.usable())
    return std::nullopt;
  const Sisters sisters = sisters_of(evidence, judgement, part);
  const Shortfall out{&part, 1 - trace->figures.resistance_ohm.value / sisters.ohm,
                      1 - trace->figures.inductance_H.value / sisters.henry};
  if (!(out.resistance > kLeast && out.inductance > 1.3 * out.resistance)) return std::nullopt;
  return out;
}

// A leak between two coils takes from both alike; shorted turns are one coil's own.
void explain_low_coils(const Evidence& evidence, Judgement& out) {
  std::vector<Shortfall> low;
  for (const Part& part : evidence.profile().parts)
    if (part.coil())
      if (const auto shortfall = shortfall_of(evidence, part, out)) low.push_back(*shortfall);
  if (low.empty()) return;
  std::vector<std::string> names, pins, evidence_text;
  for (const Shortfall& s : low) {
    names.push_back(s.part->name);
    if (const auto terminals = drive_terminals(evidence.profile(), *s.part))
      pins.push_back(low.size() > 1 ? terminals->low.front() : terminals->high.front());
    evidence_text.push_back("coil " + s.part->name + ": resistance " +
                            format_si(-100 * s.resistance, Unit::percent, 2) + " and inductance " +
                            format_si(-100 * s.inductance, Unit::percent, 2) +
                            " against its sister coils");
  }
  Finding finding{"shorted-turns",
                  names.front(),
                  "Coil " + names.front() + " has shorted turns, about " +
                      format_si(100 * low.front().resistance, Unit::percent, 2) + " of them.",
                  {},
                  evidence_text,
                  "Shorted turns lower the inductance by the square. Do not fit this pack: they "
                  "run hot and spread."};
  if (low.size() > 1) {
    finding = {"cross-leak",
               list_of(names),
               "Coils " + list_of(names) +
                   " are low together: a leak between them, or shorted turns in each.",
               pins,
               evidence_text,
               "Look between the pins of these coils for metal dust or crushed wires; if they are "
               "clean, it is the windings."};
  }
  out.findings.insert(out.findings.begin(), std::move(finding));
}

void judge_drive(const Evidence& evidence, Judgement& out) {
  for (const Part& part : evidence.profile().parts)
    if (part.coil()) take_trace(evidence, part, out);
  const bool wrong_scale = current_scale(evidence, out.traces).wrong;
  for (const Part& part : evidence.profile().parts)
    if (part.coil()) judge_coil(evidence, part, wrong_scale, out);
  explain_low_coils(evidence, out);
}

}  // namespace

const CoilTrace* trace_of(const Judgement& judgement, std::string_view coil) {
  for (const auto& trace : judgement.traces)
    if (trace.coil == coil) return &trace;
  return nullptr;
}

const CheckKind kCoilDrive{.name = kName,
                           .heading = "Driven coils",
                           .driven = true,
                           .plan = plan_drive,
                           .follow_up = nullptr,
                           .judge = judge_drive};

}  // namespace pinproof::inspection
