// The bench under load: whether current and voltage of the driven captures can be
// what it says they are, told from all coils together. It measures nothing itself.
#include "inspection/checks/drive_bench.h"

#include <algorithm>
#include <cmath>

#include "inspection/checks/check.h"
#include "quantity/statistics.h"
#include "quantity/text.h"

namespace pinproof::inspection {
namespace {

using waveform::CoilFigures;
using waveform::Status;

constexpr std::string_view kName = "drive-bench";
constexpr double kAtLimit = 0.9;  // of the supply's limit: below, another thing holds it
constexpr double kHolds = 0.99;   // of its first voltage: a supply in its limit gives way
constexpr double kEarly_s = 0.4e-3, kEarlyEnd_s = 1e-3;
constexpr double kSettledPart = 0.2;  // of the pulse, its end
constexpr double kVoltage = 0.05;     // of the set voltage
constexpr double kBlock_s = 1e-3;    // means of that length: slower than switching, faster than hum
constexpr double kRippled = 0.5;     // of the pulse, its end: the load stands
constexpr std::size_t kBlocks = 10;  // half a period of 50 Hz
constexpr double kRipple = 0.01;     // of the set voltage; a plunger's current moves by as much
constexpr double kAgree = 0.01;      // coils that agree on a share
constexpr double kOff = 0.02;        // a share that is too much
constexpr double kNearly = 0.75;     // of the coils: one of them may be bad as well

void plan_nothing(const profile::Profile&, const Capabilities&, Plan&) {}

double median_between(const record::PulseCapture& capture, double from_s, double to_s) {
  std::vector<double> out;
  for (std::size_t k = 0; k < capture.supply_V.size(); ++k) {
    const double t = capture.start_s + static_cast<double>(k) * capture.interval_s;
    if (t >= from_s && t <= to_s) out.push_back(capture.supply_V[k]);
  }
  // NaN has no place in an order.
  if (out.empty() ||
      !std::all_of(out.begin(), out.end(), [](double v) { return std::isfinite(v); }))
    return std::nan("");
  return median_of(std::move(out));
}

// Means of whole blocks of samples within a time.
std::vector<double> blocks_of(const record::PulseCapture& capture, double from_s, double to_s) {
  const auto each = static_cast<std::size_t>(std::max(1.0, kBlock_s / capture.interval_s));
  std::vector<double> out;
  double sum = 0;
  std::size_t n = 0;
  for (std::size_t k = 0; k < capture.supply_V.size(); ++k) {
    const double t = capture.start_s + static_cast<double>(k) * capture.interval_s;
    if (t < from_s || t > to_s) continue;
    sum += capture.supply_V[k];
    if (++n == each) out.push_back(sum / static_cast<double>(each)), sum = 0, n = 0;
  }
  return out;
}

// Span of what is left of values beside their least-squares line.
double span_beside_line(const std::vector<double>& y) {
  const double n = static_cast<double>(y.size()), centre = (n - 1) / 2;
  double sum = 0, slope = 0;
  for (std::size_t k = 0; k < y.size(); ++k)
    sum += y[k], slope += (static_cast<double>(k) - centre) * y[k];
  slope *= 12 / (n * (n * n - 1));
  double least = INFINITY, most = -INFINITY;
  for (std::size_t k = 0; k < y.size(); ++k) {
    const double rest = y[k] - sum / n - slope * (static_cast<double>(k) - centre);
    least = std::min(least, rest), most = std::max(most, rest);
  }
  return most - least;
}

std::string fell(const CoilFigures& figures, const record::PulseCapture& capture) {
  const auto supply = supply_seen(capture, figures);
  const std::string volts = supply ? "the supply fell from " +
                                         format_si(supply->early_V, Unit::volt, 3) + " to " +
                                         format_si(supply->settled_V, Unit::volt, 3)
                                   : "the supply's voltage fell";
  return volts + " below its current limit: it gave " +
         format_si(figures.final_current_A.value, Unit::ampere, 3) + " of " +
         format_si(capture.limit_A, Unit::ampere, 3) +
         "; see to the supply, its leads and what else it feeds";
}

// One coil's resistance at rest and under load, with the uncertainty of their ratio.
struct RestAndLoad {
  double rest_ohm = 0, load_ohm = 0, u = 0;
  double ratio() const { return load_ohm / rest_ohm; }
  double more_ohm() const { return load_ohm - rest_ohm; }
  double slack() const { return kAgree + 2 * u; }
};

std::vector<RestAndLoad> pairs_of(const Evidence& evidence, const std::vector<CoilTrace>& traces) {
  std::vector<RestAndLoad> out;
  for (const CoilTrace& trace : traces) {
    const auto* rest = evidence.reading({"coil-resistance", trace.coil, ""});
    const Estimate& load = trace.figures.resistance_ohm;
    if (!rest || rest->overload || trace.figures.status != Status::ok || !load.usable() ||
        !(load.value > 0))
      continue;
    const Estimate ohm = rest->estimate(Unit::ohm);
    if (!(ohm.value > 0)) continue;
    out.push_back({ohm.value, load.value, std::hypot(load.u / load.value, ohm.u / ohm.value)});
  }
  return out;
}

template <class Fits>
std::size_t count(const std::vector<RestAndLoad>& pairs, const Fits& fits) {
  return static_cast<std::size_t>(std::count_if(pairs.begin(), pairs.end(), fits));
}

}  // namespace

std::optional<SupplySeen> supply_seen(const record::PulseCapture& capture,
                                      const CoilFigures& figures) {
  const double on = figures.onset_s;
  const double off = std::isfinite(figures.off_s) ? figures.off_s : on + capture.pulse_s;
  const SupplySeen out{median_between(capture, on + kEarly_s, on + kEarlyEnd_s),
                       median_between(capture, off - kSettledPart * (off - on), off - kEarly_s)};
  if (!std::isfinite(out.early_V) || !std::isfinite(out.settled_V)) return std::nullopt;
  return out;
}

std::optional<double> supply_ripple_V(const record::PulseCapture& capture,
                                      const CoilFigures& figures) {
  const double on = figures.onset_s;
  const double off = std::isfinite(figures.off_s) ? figures.off_s : on + capture.pulse_s;
  const auto blocks = blocks_of(capture, off - kRippled * (off - on), off - kEarly_s);
  if (blocks.size() < kBlocks) return std::nullopt;
  const double out = span_beside_line(blocks);
  return std::isfinite(out) ? std::optional(out) : std::nullopt;
}

DriveTrouble trouble_of(const CoilFigures& figures, const record::PulseCapture& capture) {
  const double amps = figures.final_current_A.value;
  if (std::isfinite(figures.broke_off_s))
    return {Outcome::fail, "the current broke off at " +
                               format_si(figures.broke_off_s, Unit::second, 3) +
                               " and came back while the voltage stood"};
  switch (figures.status) {
    case Status::ok:
      break;
    case Status::disturbed:
      return {Outcome::bench_fault,
              figures.disturbance + "; see to the digitiser's link and leads, then drive it again"};
    case Status::wrong_polarity:
      return {Outcome::bench_fault,
              "voltage or current is negative: the leads of the supply, the shunt or the "
              "digitiser's probe changed places"};
    case Status::swapped:
      return {Outcome::bench_fault,
              "the current is there before the voltage: the digitiser's channels of shunt and "
              "probe changed places"};
    case Status::no_current:
      return {Outcome::fail, std::string(text_of(figures.status))};
    default:
      return {Outcome::undecided, std::string(text_of(figures.status))};
  }
  const auto ripple = supply_ripple_V(capture, figures);
  if (ripple && !figures.current_limited && *ripple > kRipple * capture.set_V)
    return {Outcome::bench_fault, "the supply's voltage swings by " +
                                      format_si(*ripple, Unit::volt, 3) +
                                      " while the load stands: hum on the leads, or a supply that "
                                      "does not hold; see to their routing and grounds"};
  if (!figures.current_limited)
    return {Outcome::pass,
            format_si(amps, Unit::ampere, 3) + " at " + format_si(capture.set_V, Unit::volt, 3)};
  if (amps < kAtLimit * capture.limit_A) return {Outcome::bench_fault, fell(figures, capture)};
  const auto supply = supply_seen(capture, figures);
  if (supply && supply->settled_V > kHolds * supply->early_V)
    return {Outcome::bench_fault,
            "the current reads as if the supply were in its limit of " +
                format_si(capture.limit_A, Unit::ampere, 3) + ", but the supply holds " +
                format_si(supply->settled_V, Unit::volt, 3) + ": the shunt, its value in the " +
                "bench file, or the digitiser's scale"};
  return {Outcome::fail, "the supply went into its limit of " +
                             format_si(capture.limit_A, Unit::ampere, 3) +
                             ": the circuit draws too much"};
}

CurrentScale current_scale(const Evidence& evidence, const std::vector<CoilTrace>& traces) {
  const auto pairs = pairs_of(evidence, traces);
  CurrentScale out{pairs.size(), {std::nan(""), std::nan("")}};
  if (pairs.size() < 2) return out;
  std::vector<double> ratios, ohms, u;
  for (const RestAndLoad& p : pairs)
    ratios.push_back(p.ratio()), ohms.push_back(p.more_ohm()), u.push_back(p.u);
  const double ratio = median_of(ratios), ohm = median_of(ohms);
  out.off_percent = {100 * (1 / ratio - 1), 100 * median_of(u) / ratio};
  const std::size_t by_share = count(
      pairs, [&](const RestAndLoad& p) { return std::abs(p.ratio() / ratio - 1) < p.slack(); });
  const std::size_t by_ohm = count(pairs, [&](const RestAndLoad& p) {
    return std::abs(p.more_ohm() - ohm) < p.slack() * p.rest_ohm;
  });
  const bool agree =
      by_share >= 2 && static_cast<double>(by_share) >= kNearly * static_cast<double>(pairs.size());
  const bool off = std::abs(ratio - 1) > kOff + 2 * median_of(u);
  out.wrong = off && agree && by_share >= by_ohm;
  out.could_be_joint = out.wrong && by_share == by_ohm;
  return out;
}

namespace {

void judge_current(const Evidence& evidence, Judgement& out) {
  const CurrentScale scale = current_scale(evidence, out.traces);
  Result result;
  result.subject = "bench";
  result.aspect = "current";
  result.title = "Current under load against resistance at rest, all coils";
  if (scale.coils < 2) {
    result.outcome = Outcome::skipped, result.required = false;
    result.text = "fewer than two coils with both resistances";
    out.results.push_back(std::move(result));
    return;
  }
  result.value = scale.off_percent, result.unit = Unit::percent;
  const std::string all = std::to_string(scale.coils) + " coils";
  const std::string off = format_si(scale.off_percent.value, Unit::percent, 3);
  if (!scale.wrong) {
    result.outcome = Outcome::pass;
    result.text = all + " have no error of the current in common; their median is " + off;
  } else {
    result.outcome = Outcome::bench_fault;
    result.text = "current is measured wrong by " + off + ", by " + all +
                  " alike: the shunt, its value in the bench file, or the "
                  "digitiser's scale";
    if (scale.could_be_joint)
      result.text += "; coils so much alike cannot tell this from a joint or film in a common wire";
  }
  out.results.push_back(std::move(result));
}

struct Off {
  std::string coil, when;
  double volt = 0, set_V = 0, share = 0;
};

// The coil whose supply voltage is farthest from what was set. A supply in its
// limit is the coil's doing.
std::optional<Off> farthest(const Evidence& evidence, const Judgement& judgement) {
  std::optional<Off> out;
  for (const CoilTrace& trace : judgement.traces) {
    const auto* capture = std::get_if<record::PulseCapture>(&evidence.record().events[trace.event]);
    if (!capture || trace.figures.status != Status::ok || !(capture->set_V > 0)) continue;
    if (trace.figures.current_limited &&
        !(trace.figures.final_current_A.value < kAtLimit * capture->limit_A))
      continue;
    const auto seen = supply_seen(*capture, trace.figures);
    if (!seen && capture->supply_V.empty()) continue;
    if (!seen) return Off{trace.coil, "in the middle", std::nan(""), capture->set_V, INFINITY};
    for (const auto& [when, volt] :
         {std::pair{"at the start", seen->early_V}, std::pair{"at the end", seen->settled_V}}) {
      const double share = std::abs(volt / capture->set_V - 1);
      if (!out || share > out->share) out = Off{trace.coil, when, volt, capture->set_V, share};
    }
  }
  return out;
}

void judge_supply(const Evidence& evidence, Judgement& out) {
  Result result;
  result.subject = "bench";
  result.aspect = "voltage";
  result.title = "Supply voltage in the pulses against what was set";
  const auto off = farthest(evidence, out);
  if (!off) {
    result.outcome = Outcome::skipped, result.required = false;
    result.text = "the supply's voltage was not recorded in any pulse";
    out.results.push_back(std::move(result));
    return;
  }
  result.value = Estimate{off->volt, 0}, result.unit = Unit::volt;
  result.limit = Interval{(1 - kVoltage) * off->set_V, (1 + kVoltage) * off->set_V};
  result.outcome = off->share < kVoltage ? Outcome::pass : Outcome::bench_fault;
  result.text = "farthest off " + off->when + " of coil " + off->coil +
                "'s pulse: " + format_si(off->volt, Unit::volt, 3) + ", set " +
                format_si(off->set_V, Unit::volt, 3);
  if (result.outcome != Outcome::pass)
    result.text += "; the voltage is measured wrong, or the supply gives another than it was told";
  out.results.push_back(std::move(result));
}

void judge_bench(const Evidence& evidence, Judgement& out) {
  judge_current(evidence, out);
  judge_supply(evidence, out);
}

}  // namespace

const CheckKind kDriveBench{.name = kName,
                            .heading = "Bench under load",
                            .driven = true,
                            .plan = plan_nothing,
                            .follow_up = nullptr,
                            .judge = judge_bench};

}  // namespace pinproof::inspection
