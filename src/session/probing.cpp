#include "session/probing.h"

#include <algorithm>
#include <cmath>
#include <span>

#include "diagnosis/under_load.h"
#include "inspection/checks/drive.h"
#include "quantity/error.h"
#include "quantity/statistics.h"
#include "quantity/text.h"

namespace pinproof::session {
namespace {

using diagnosis::Observation;
using diagnosis::Probe;

constexpr Duration kPulse{0.08};  // long beside any coil's rise, short beside its warming
constexpr Duration kAfter{0.01};
constexpr Voltage kProbeRange{20};
constexpr double kUnsteady = 0.3;
constexpr double kMeter_A = 1e-3;   // through what a meter reads
constexpr double kLeast_A = 0.02;   // below this no drop is worth its name
constexpr double kWire_ohm = 1;     // at most, of a good one
constexpr Voltage kWireVoltage{2};  // through a wire without a coil
constexpr Current kWireCurrent{1};

constexpr double kEarly = 0.45, kLate = 0.75;  // of the pulse: parts of it that are compared

// Mean and its standard deviation over a part of the pulse, its last quarter by default.
Estimate settled(const record::PulseCapture& capture, const std::vector<double>& samples,
                 double begin_share = kLate) {
  const auto at = [&](double time_s) {
    const double k = (time_s - capture.start_s) / capture.interval_s;
    return static_cast<std::size_t>(std::clamp(k, 0.0, static_cast<double>(samples.size())));
  };
  const double driven_s = record::driven_s(capture);
  const std::size_t from = at(begin_share * driven_s), to = at((begin_share + 0.23) * driven_s);
  if (to < from + 8) return {};
  const auto part = std::span(samples).subspan(from, to - from);
  const double n = static_cast<double>(part.size()), mean = mean_of(part);
  double sum = 0;
  for (const double x : part) sum += (x - mean) * (x - mean);
  return {mean, std::sqrt(sum / n / n)};
}

// Least current in the pulse's second half, as a share missing from its mean at the end.
double swing_of(const record::PulseCapture& capture, double mean_A) {
  double least = mean_A;
  const double driven_s = record::driven_s(capture);
  for (std::size_t k = 0; k < capture.current_A.size(); ++k) {
    const double t = capture.start_s + static_cast<double>(k) * capture.interval_s;
    if (t > 0.5 * driven_s && t < 0.97 * driven_s) least = std::min(least, capture.current_A[k]);
  }
  return 1 - least / mean_A;
}

// The coil whose leads these are.
const profile::Part* coil_between(const profile::Profile& profile, const std::string& high,
                                  const std::string& low) {
  for (const profile::Part& part : profile.parts) {
    if (!part.coil()) continue;
    const auto leads = network::leads_of(profile, part);
    const bool returns_by_ground =
        leads && leads->to == profile::kCase && low == profile.ground_pin;
    if (leads && leads->from == high && (leads->to == low || returns_by_ground)) return &part;
  }
  return nullptr;
}

}  // namespace

Probing::Probing(const diagnosis::Scene& scene, const inspection::RunOptions& options,
                 record::Record& record)
    : scene_(scene), options_(options), record_(record), handling_(options) {}

void Probing::emit(record::Event event) {
  record_.events.push_back(std::move(event));
  for (record::Listener* listener : options_.listeners) listener->on_event(record_.events.back());
}

bench::Connection Probing::connection(const Probe& probe) const {
  const auto& tied = scene_.situations()[probe.situation].tied;
  const auto side = [&](std::size_t node) {
    for (const auto& group : tied)
      if (group.front() == node) {
        std::vector<std::string> out;
        for (const std::size_t one : group) out.push_back(scene_.model().name(one));
        return out;
      }
    return std::vector<std::string>{scene_.model().name(node)};
  };
  return {side(probe.sight.c), side(probe.sight.d)};
}

std::optional<Observation> Probing::read(const Probe& probe) {
  const record::Key key{"diagnosis", text_of(scene_, probe), std::to_string(++count_)};
  try {
    return probe.kind == diagnosis::ProbeKind::ohm ? resistance(probe, key) : driven(probe, key);
  } catch (const bench::Detour& detour) {
    emit(record::Skipped{key, detour.kind() == bench::DetourKind::skip
                                  ? detour.reason()
                                  : "the technician went past it"});
    return std::nullopt;
  }
}

Observation Probing::resistance(const Probe& probe, const record::Key& key) {
  const auto& situation = scene_.situations()[probe.situation];
  const auto condition = handling_.reach(situation);
  const double expected = scene_.good(probe.situation).resistances(probe.sight.a, probe.sight.b);
  inspection::OhmStep step{connection(probe),
                           Resistance{expected < scene_.open_ohm() ? expected : INFINITY}, 1};
  record::Reading reading = handling_.measure().ohms(key, step, condition);
  const record::Numbers& ohms = reading.measured.in(Unit::ohm);
  Observation out{probe, reading.ohm_or_open(), reading.overload ? 0 : ohms.u,
                  reading.overload ? ohms.range_end : INFINITY};
  emit(std::move(reading));
  if (situation.tied.empty()) read_ohm_[driven_pair(probe)] = out.ohm;
  return out;
}

Probing::DrivenPair Probing::driven_pair(const Probe& probe) const {
  return {probe.sight.a, probe.sight.b, scene_.situations()[probe.situation].hot};
}

std::optional<double> Probing::driven_ohm(const Probe& probe) const {
  const auto it = read_ohm_.find(driven_pair(probe));
  return it == read_ohm_.end() ? std::nullopt : std::optional(it->second);
}

diagnosis::Held Probing::hold(const Probe& probe, double seconds) {
  const double begin = options_.now_s();
  diagnosis::Held out{probe, INFINITY, 0, 0};
  double first = 0, farthest = -1;
  do {
    if (options_.stop.stop_requested()) throw Error(Fault::aborted, "stopped");
    const record::Key key{"diagnosis-hold", text_of(scene_, probe), std::to_string(++count_)};
    const double ohm = resistance(probe, key).ohm;
    if (farthest < 0) first = ohm;
    out.least_ohm = std::min(out.least_ohm, ohm), out.most_ohm = std::max(out.most_ohm, ohm);
    const double off = std::abs(scene_.y_of(probe, ohm) - scene_.y_of(probe, first));
    if (off > farthest) farthest = off, out.at_s = options_.now_s() - begin;
  } while (options_.now_s() - begin < seconds);
  return out;
}

inspection::DriveStep Probing::step_for(const Probe& probe, const profile::Part* coil) const {
  const auto can = inspection::capabilities_of(*options_.bench, *options_.instruments);
  inspection::DriveStep step;
  step.drive = {{scene_.model().name(probe.sight.a)}, {scene_.model().name(probe.sight.b)}};
  step.probe = connection(probe);
  step.pulse = kPulse, step.after = kAfter, step.probe_range = kProbeRange;
  step.voltage = std::min(kWireVoltage, Voltage{can.supply_max_V});
  step.limit = std::min(kWireCurrent, Current{can.supply_max_A});
  step.conductor = coil == nullptr;
  if (coil) {
    const auto limits = inspection::drive_limits(scene_.model().profile(), *coil, can);
    step.coils = {coil->name};
    step.voltage = limits.voltage, step.limit = limits.limit;
    step.pulse = std::min(kPulse, 0.9 * Duration{coil->coil()->energy.max_pulse_s});
  }
  return step;
}

std::optional<Observation> Probing::driven(const Probe& probe, const record::Key& key) {
  const std::string high = scene_.model().name(probe.sight.a),
                    low = scene_.model().name(probe.sight.b);
  const profile::Part* coil = coil_between(scene_.model().profile(), high, low);
  // A wire: the pack's ground. Nothing else is driven without the budget of a coil.
  const bool bare =
      !coil && probe.kind == diagnosis::ProbeKind::drop &&
      scene_.good(probe.situation).resistances(probe.sight.a, probe.sight.b) < kWire_ohm;
  const auto ohm = driven_ohm(probe);
  if ((!coil && !bare) || !ohm) {
    emit(record::Skipped{key, "no coil of known resistance between " + high + " and " + low});
    return std::nullopt;
  }
  const auto condition = handling_.reach(scene_.situations()[probe.situation]);
  record::PulseCapture capture = handling_.drive(key, step_for(probe, coil), condition);
  const auto observation = observed(probe, capture, *ohm);
  emit(std::move(capture));
  if (!observation) emit(record::Skipped{key, "no steady current flowed"});
  return observation;
}

std::optional<Observation> Probing::observed(const Probe& probe,
                                             const record::PulseCapture& capture, double coil_ohm) {
  const Estimate seen = settled(capture, capture.probe_V),
                 current = settled(capture, capture.current_A);
  if (!(current.value > kLeast_A)) return std::nullopt;
  if (const double swing = swing_of(capture, current.value); swing > kUnsteady) {
    remarks_.push_back("the current from " + scene_.model().name(probe.sight.a) + " to " +
                       scene_.model().name(probe.sight.b) +
                       " comes and goes: an intermittent contact in this circuit");
    return std::nullopt;
  }
  const double seen_u =
      std::hypot(seen.u, capture.voltage_offset_u, capture.voltage_gain_u * std::abs(seen.value));
  if (probe.kind == diagnosis::ProbeKind::fraction) {
    // By the coil's own resistance: leads and relays take their part of the supply's voltage.
    const double across = current.value * coil_ohm;
    return Observation{probe, seen.value / across, seen_u / across + 0.003, INFINITY};
  }
  const double ohm = seen.value / current.value;
  remark_on_load(probe, capture, coil_ohm);
  return Observation{probe, ohm, std::hypot(seen_u / current.value, ohm * capture.current_gain_u),
                     INFINITY};
}

void Probing::finish() {
  try {
    handling_.reach(network::PackState{});
  } catch (const bench::Detour&) {  // told again below, and not waited for
  }
  handling_.make_safe();
}

// Does the resistance rise while the current flows? That is told beside the reading.
void Probing::remark_on_load(const Probe& probe, const record::PulseCapture& capture,
                             double small_ohm) {
  const auto drop = [&](double begin_share) {
    const Estimate volt = settled(capture, capture.probe_V, begin_share),
                   ampere = settled(capture, capture.current_A, begin_share);
    const double ohm = volt.value / ampere.value;
    return diagnosis::Drop{ampere.value,
                           begin_share * record::driven_s(capture),
                           {ohm, std::hypot(volt.u / ampere.value, ohm * ampere.u / ampere.value)}};
  };
  std::vector<diagnosis::Drop> drops{drop(kEarly), drop(kLate)};
  if (probe.sight == network::between(probe.sight.a, probe.sight.b))
    drops.push_back({kMeter_A, 0, {small_ohm, 0.01 * small_ohm}});
  const auto result = diagnosis::judge_load(drops);
  if (result.conduct == diagnosis::Conduct::heating)
    remarks_.push_back("from " + scene_.model().name(probe.sight.c) + " to " +
                       scene_.model().name(probe.sight.d) + " the resistance rises from " +
                       format_si(result.early_ohm.value, Unit::ohm, 3) + " to " +
                       format_si(result.late_ohm.value, Unit::ohm, 3) + " within one pulse");
}

}  // namespace pinproof::session
