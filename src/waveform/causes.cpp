#include "waveform/causes.h"

#include <algorithm>
#include <cmath>
#include <string>

#include "quantity/text.h"

namespace pinproof::waveform {
namespace {

constexpr double kHealthyBelow = 0.02;  // probability of the good unit: beyond, no finding
constexpr double kRival = 20;           // times less probable than the best, and still named
constexpr int kSeverities = 48;
constexpr double kWeakSource = 0.15;  // of the coil's resistance (common practice, no source)
constexpr double kLowSupply = 0.85;   // of the expected voltage (the same)
constexpr double kClampOff = 1.3;     // times the expected clamp, and 3 V: it is not that clamp

TraitShift healthy(double, const GoodUnit&) { return {}; }

// A ring of the share p of the turns: R goes with the turns, L with their square;
// at the terminals the ring is a conductance p / R beside the eddy path's
// (transformer equations).
TraitShift shorted_turns(double p, const GoodUnit& good) {
  TraitShift out;
  const double left = std::log(1 - p);
  out[Trait::resistance] = left;
  out[Trait::inductance] = 2 * left;
  out[Trait::begin_current] = -left;
  if (good.eddy_siemens > 0)
    out[Trait::eddy] = std::log(1 + p / good.ohm / good.eddy_siemens) - 2 * left;
  out.loose_in(Trait::eddy) = good.eddy_siemens > 0 ? 0.1 : 1;
  return out;
}

TraitShift series_resistance(double share, const GoodUnit&) {
  TraitShift out;
  out[Trait::resistance] = std::log(1 + share);
  return out;
}

// Copper that is warmer than was told; as likely as a joint where nobody measured.
constexpr std::string_view kWarmer = "warmer-than-told";
constexpr double kTemperatureKnown = 0.02;  // of the resistance
constexpr double kToldWrong = 0.02;         // a thermometer's reading, by chance

TraitShift lower_resistance(double share, const GoodUnit&) {
  TraitShift out;
  out[Trait::resistance] = std::log(1 - share);
  return out;
}

// Without travel the inductance stays what it was at the start.
TraitShift stuck_at_rest(double, const GoodUnit& good) {
  TraitShift out;
  out[Trait::growth] = good.growth > 0 ? -std::log(good.growth) : -0.5;
  out.loose_in(Trait::growth) = good.growth > 0 ? 0.01 : 0.2;
  out.loose_in(Trait::begin_current) = out.loose_in(Trait::travel_time) = 1;
  return out;
}

TraitShift stuck_seated(double, const GoodUnit& good) {
  TraitShift out = stuck_at_rest(0, good);
  out[Trait::inductance] = good.growth > 0 ? std::log(good.growth) : 0.5;
  out.loose_in(Trait::inductance) = good.growth > 0 ? 0.04 : 0.2;
  out.loose_in(Trait::eddy) = 0.03;
  return out;
}

// It stops on its way: the share of the growth that is missing.
TraitShift short_stroke(double share, const GoodUnit& good) {
  TraitShift out;
  out[Trait::growth] = -share * (good.growth > 0 ? std::log(good.growth) : 0.5);
  out.loose_in(Trait::begin_current) = 0.05;
  out.loose_in(Trait::travel_time) = 0.5;
  return out;
}

// Friction needs more force to break away (force goes with the current's
// square) and slows the travel.
TraitShift sticky(double severity, const GoodUnit&) {
  TraitShift out;
  out[Trait::begin_current] = severity / 2;
  out[Trait::travel_time] = severity / 2;
  out.loose_in(Trait::begin_current) = severity / 4;
  out.loose_in(Trait::travel_time) = severity / 2;
  return out;
}

TraitShift weak_spring(double lost, const GoodUnit&) {
  TraitShift out;
  out[Trait::begin_current] = std::log(1 - lost) / 2;
  out.loose_in(Trait::begin_current) = 0.08;  // inertia: it is past what frees it by then
  out.loose_in(Trait::travel_time) = 0.15;
  return out;
}

// The magnetic circuit conducts less by the factor m: L by m, and the current for
// the same force by 1 / sqrt(m).
TraitShift weak_magnet(double lost, const GoodUnit&) {
  TraitShift out;
  const double m = std::log(1 - lost);
  out[Trait::inductance] = m;
  out[Trait::begin_current] = -m / 2;
  out.loose_in(Trait::eddy) = 0.05;
  out.loose_in(Trait::growth) = 0.03;
  out.loose_in(Trait::travel_time) = 0.15;
  return out;
}

// Anything within reason: what fits nothing else.
TraitShift another_part(double, const GoodUnit&) {
  TraitShift out;
  out.loose = {0.35, 0.35, 0.7, 0.25, 0.35, 0.4};
  return out;
}

constexpr std::string_view kReplace = "Do not fit it.";
constexpr std::string_view kFree =
    "Dirt, varnish, a bent core or a worn bore: clean and free it, then drive it again.";

// Priors: common practice, no source.
constexpr std::array kCauses{
    Cause{"", 0.90, 1, 1, healthy, "a good unit", ""},
    Cause{"shorted-turns", 0.015, 0.02, 0.6, shorted_turns, "about {} of the turns are shorted",
          "Shorted turns run hot and spread. Do not fit it."},
    Cause{
        "series-resistance", 0.02, 0.02, 2, series_resistance,
        "a joint or contact adds about {} to the winding's resistance",
        "Measure with four-wire leads at the pins, then at the coil: the difference is the joint."},
    Cause{kWarmer, 0.02, 0.02, 0.6, series_resistance,
          "the winding is warmer than taken, by {} of its resistance",
          "Measure its temperature, or let it cool and try again."},
    Cause{"resistance-low", 0.004, 0.02, 0.4, lower_resistance,
          "the resistance is {} low, and nothing else is",
          "A path beside the coil, a wrong temperature, or another winding."},
    Cause{"stuck-at-rest", 0.012, 1, 1, stuck_at_rest,
          "the plunger stays at rest: the inductance does not grow", kFree},
    Cause{"stuck-seated", 0.006, 1, 1, stuck_seated,
          "the plunger is seated from the start: the inductance begins where it should end", kFree},
    Cause{"short-stroke", 0.006, 0.1, 0.85, short_stroke,
          "the plunger stops {} short of its stroke", "Debris under the seat, or a wrong plunger."},
    Cause{"sticky", 0.012, 0.1, 1.2, sticky, "the plunger breaks away late and travels slowly",
          kFree},
    Cause{"weak-spring", 0.008, 0.15, 0.95, weak_spring,
          "the plunger is held by about {} too little force: a weak or broken spring",
          "It may not return under pressure. Do not fit it."},
    Cause{"wrong-or-weak-part", 0.008, 0.1, 0.7, weak_magnet,
          "the magnetic circuit is about {} too weak: a wrong part, a wrong gap or damaged iron",
          kReplace},
    Cause{"wrong-or-weak-part", 0.005, 1, 1, another_part,
          "it is unlike a good unit in several ways: a wrong part, or more than one fault",
          "Compare the part itself with a good one."}};

double log_density(double off, double sd) { return -0.5 * off * off / (sd * sd) - std::log(sd); }

struct WeighedCause {
  const Cause* cause = nullptr;
  double probability = 0;  // log of evidence and prior first, then the probability
  double severity = 1;     // the likeliest
};

class Weighing {
 public:
  Weighing(const Traits& seen, const ExpectedTraits& expected, bool temperature_known)
      : seen_(seen), expected_(expected), temperature_known_(temperature_known) {
    const auto at = [&](Trait t) {
      const double ln = expected.traits[t].value;
      return std::isfinite(ln) ? std::exp(ln) : 0;
    };
    good_ = {at(Trait::resistance), at(Trait::eddy), at(Trait::growth)};
  }

  std::vector<WeighedCause> run() const {
    std::vector<WeighedCause> out;
    for (const Cause& cause : causes()) out.push_back(weigh(cause));
    double highest = -1e300;
    for (const WeighedCause& w : out) highest = std::max(highest, w.probability);
    double sum = 0;
    for (WeighedCause& w : out) sum += w.probability = std::exp(w.probability - highest);
    for (WeighedCause& w : out) w.probability /= sum;
    std::stable_sort(out.begin(), out.end(), [](const WeighedCause& a, const WeighedCause& b) {
      return a.probability > b.probability;
    });
    return out;
  }

 private:
  double log_likelihood(const TraitShift& shift) const {
    double out = 0;
    for (std::size_t t = 0; t < kTraits; ++t) {
      const Estimate &x = seen_.ln[t], &e = expected_.traits.ln[t];
      if (!std::isfinite(x.value) || !std::isfinite(e.value)) continue;
      out += log_density(x.value - e.value - shift.by[t],
                         std::hypot(std::hypot(x.u, e.u), shift.loose[t]));
    }
    return out;
  }

  WeighedCause weigh(const Cause& cause) const {
    const int steps = cause.most > cause.least ? kSeverities : 1;
    const double ratio = steps > 1 ? std::pow(cause.most / cause.least, 1.0 / (steps - 1)) : 1;
    std::vector<double> logs;
    WeighedCause out{&cause, 0, cause.least};
    double severity = cause.least, best = -1e300;
    for (int i = 0; i < steps; ++i, severity *= ratio) {
      logs.push_back(log_likelihood(cause.shift(severity, good_)));
      if (logs.back() > best) best = logs.back(), out.severity = severity;
    }
    double sum = 0;
    for (const double l : logs) sum += std::exp(l - best);
    const bool unlikely = temperature_known_ && cause.kind == kWarmer;
    out.probability =
        std::log(cause.prior * (unlikely ? kToldWrong : 1)) + best + std::log(sum / steps);
    return out;
  }

  const Traits& seen_;
  const ExpectedTraits& expected_;
  bool temperature_known_;
  GoodUnit good_;
};

std::string said(const WeighedCause& w) {
  std::string out(w.cause->says);
  if (const auto at = out.find("{}"); at != std::string::npos)
    out.replace(at, 2, format_si(100 * w.severity, Unit::percent, 2));
  return out;
}

// What differs most, in standard deviations, for the evidence.
std::string evidence_of(const Traits& seen, const ExpectedTraits& expected) {
  std::string out;
  for (std::size_t t = 0; t < kTraits; ++t) {
    const Estimate &x = seen.ln[t], &e = expected.traits.ln[t];
    if (!std::isfinite(x.value) || !std::isfinite(e.value)) continue;
    const double off = x.value - e.value;
    if (std::abs(off) < 2.5 * std::hypot(x.u, e.u)) continue;
    out += (out.empty() ? "" : ", ") + std::string(name_of(static_cast<Trait>(t))) + " " +
           (off > 0 ? "+" : "") + format_si(100 * std::expm1(off), Unit::percent, 2);
  }
  return out.empty() ? "nothing by itself, all together" : out;
}

void add_causes(const Traits& seen, const ExpectedTraits& expected, bool temperature_known,
                std::vector<CoilFinding>& out) {
  const auto weighed = Weighing(seen, expected, temperature_known).run();
  const auto good = std::find_if(weighed.begin(), weighed.end(),
                                 [](const WeighedCause& w) { return w.cause->kind.empty(); });
  if (good->probability > kHealthyBelow) return;
  const WeighedCause& best = weighed.front();
  CoilFinding finding;
  finding.kind = best.cause->kind;
  finding.text = said(best) + " (against a good unit: " + evidence_of(seen, expected) + ")";
  finding.advice = best.cause->advice;
  finding.probability = 0;
  finding.good_unit = good->probability;
  for (const WeighedCause& w : weighed) {
    if (w.cause->kind == best.cause->kind)
      finding.probability += w.probability;
    else if (w.probability * kRival > best.probability)
      finding.rivals.push_back(said(w));
  }
  out.push_back(finding);
}

void add_supply(const CoilFigures& f, const ExpectedTraits& expected,
                std::vector<CoilFinding>& out) {
  const double ohm = f.resistance_ohm.value;
  const bool soft =
      f.source_ohm.usable() && f.source_ohm.value - 2 * f.source_ohm.u > kWeakSource * ohm;
  const bool low =
      expected.supply_V > 0 && f.supply_V > 0 && f.supply_V < kLowSupply * expected.supply_V;
  if (!soft && !low) return;
  CoilFinding finding;
  finding.kind = "weak-supply";
  finding.text = soft ? "the supply and its leads have " +
                            format_si(f.source_ohm.value, Unit::ohm, 2) +
                            " in series with the coil: the voltage gives way under load"
                      : "only " + format_si(f.supply_V, Unit::volt, 3) + " at the coil, " +
                            format_si(expected.supply_V, Unit::volt, 3) + " with the good ones";
  finding.advice =
      "Ground, clips, fuse, battery: measure the drop along the feed and the ground "
      "with the coil on.";
  out.push_back(finding);
}

void add_suppression(const CoilFigures& f, const ExpectedTraits& expected,
                     std::vector<CoilFinding>& out) {
  if (f.suppression == SeenSuppression::not_judged ||
      expected.suppression == SeenSuppression::not_judged)
    return;
  const bool clamps = expected.suppression != SeenSuppression::none;
  const bool higher = f.suppression == SeenSuppression::none ||
                      (f.clamp_V.usable() && expected.clamp_V > 0 &&
                       f.clamp_V.value > kClampOff * expected.clamp_V + 3);
  const std::string seen = "at switch-off the coil falls to " +
                           format_si(f.clamp_V.value, Unit::volt, 3) + ", a good one to " +
                           format_si(expected.clamp_V, Unit::volt, 3);
  if (clamps && higher && f.clamp_V.usable())
    out.push_back({"suppression-missing",
                   seen + ": its diode or zener is open or missing",
                   0,
                   {},
                   "The controller's driver takes the spike. Check the diode and its joints."});
  else if (f.suppression == SeenSuppression::diode &&
           expected.suppression != SeenSuppression::diode)
    out.push_back({"suppression-unexpected",
                   seen + ": a diode bridges the coil",
                   0,
                   {},
                   "It releases late. Another variant of the part, or a wrong repair."});
}

}  // namespace

std::span<const Cause> causes() { return kCauses; }

std::vector<CoilFinding> explain(const CoilFigures& figures, const Estimate& copper_ratio,
                                 const ExpectedTraits& expected) {
  std::vector<CoilFinding> out = figures.findings;
  // An open or shorted coil has no traits, and a limited supply distorts them.
  if (!out.empty() || figures.status != Status::ok) return out;
  add_supply(figures, expected, out);
  add_suppression(figures, expected, out);
  add_causes(traits_of(figures, copper_ratio), expected,
             copper_ratio.u < kTemperatureKnown * copper_ratio.value, out);
  return out;
}

}  // namespace pinproof::waveform
