#include "session/diagnosing.h"

#include <algorithm>
#include <cmath>

#include "inspection/checks/evidence.h"
#include "quantity/error.h"

namespace pinproof::session {
namespace {

constexpr double kRoom_celsius = 23, kRoom_u = 3;  // where nobody says how warm the pack is

network::ModelOptions at(double celsius) {
  network::ModelOptions out;
  out.celsius = celsius;
  return out;
}

const record::Record& proven(const inspection::RunOptions& run, record::Record& record) {
  prove_bench(run, record);
  return record;
}

Estimate measured_celsius(const profile::Profile& profile, const record::Record& record,
                          const std::optional<Estimate>& entered) {
  const auto celsius = inspection::Evidence(profile, record).celsius();
  return celsius && celsius->usable() ? *celsius : celsius_or_room(entered);
}

diagnosis::Means means_of(const Bench& opened, const inspection::RunOptions& run, bool soak) {
  const auto can = inspection::capabilities_of(opened.description(), *run.instruments);
  return {.lever = can.lever, .tie = can.tie, .soak = soak, .source = can.drive};
}

}  // namespace

Estimate celsius_or_room(const std::optional<Estimate>& entered) {
  return entered.value_or(Estimate{kRoom_celsius, kRoom_u});
}

DiagnosisDesk::DiagnosisDesk(const profile::Profile& profile, const Estimate& celsius,
                             const diagnosis::Means& means, const DiagnosisAsked& asked)
    : codes(asked.codes),
      model(profile, at(celsius.value)),
      scene(model, diagnosis::usual_situations(profile)),
      suspects(diagnosis::suspects_of(model)),
      probes(diagnosis::probes_of(scene, means)) {
  search.shared.warmth_K = celsius.u;
  search.shared.lead_ohm = 0.02;
  search.thorough = asked.thorough;
  search.noise_ohm = 0.01;  // four-wire meters; a two-wire one is nulled
  if (!codes.empty()) {
    search.priors.weights = diagnosis::code_weights(profile, suspects, codes);
    search.priors.faulty = 0.7;
  }
  const auto instances = diagnosis::instances_of(suspects);
  std::vector<diagnosis::ProbeReadings> faulty;
  for (const auto& one : instances)
    faulty.push_back(
        readings_of(scene, probes, {diagnosis::Guess{one.suspect, one.size}}, kNoise_ohm));
  list =
      shortest_list(scene, probes, readings_of(scene, probes, {}, kNoise_ohm), instances, faulty);
  search.most = std::max(search.most, 2 * list.size());
}

diagnosis::ConclusionInput DiagnosisDesk::input(const diagnosis::Search& done) const {
  diagnosis::ConclusionInput out;
  out.scene = &scene, out.suspects = &suspects, out.probes = &probes, out.list = &list;
  out.codes = codes;
  out.readings = done.readings(), out.remarks = remarks, out.held = held;
  out.unproven = !unproven.empty();
  if (out.unproven) out.remarks.push_back(unproven + "Nothing is exonerated by it.");
  out.noise_ohm = kNoise_ohm, out.sure = search.sure;
  return out;
}

Diagnosing::Diagnosing(const profile::Profile& profile, const Bench& opened,
                       const inspection::RunOptions& run, record::Record& record,
                       const DiagnosisAsked& asked, const std::optional<Estimate>& entered)
    : run_(run),
      record_(record),
      asked_(asked),
      desk_(profile, measured_celsius(profile, proven(run, record), entered),
            means_of(opened, run, asked.soak), asked),
      search_(desk_.scene, desk_.suspects, desk_.probes, desk_.list, desk_.search),
      probing_(desk_.scene, run, record) {}

void Diagnosing::run(const DiagnosisStep& on_step,
                     const std::function<void(const std::string&)>& on_hold) {
  try {
    on_step(desk_, search_);
    while (const auto choice = search_.next()) {
      if (run_.stop.stop_requested()) throw Error(Fault::aborted, "stopped");
      ask(choice->probe);
      on_step(desk_, search_);
    }
    desk_.remarks = probing_.remarks();
    if (asked_.hold_s > 0) hold_all(on_hold);
    probing_.finish();
    prove_bench(run_, record_);
  } catch (const Error& e) {
    const std::string unsafe = probing_.make_safe_after_trouble();
    if (unsafe.empty()) throw;
    throw Error(e.fault(), e.what() + unsafe);
  }
}

// A coil is driven only when its resistance says that it may be: as it is now, hot or cold.
// nullopt: it has not been read.
std::optional<bool> Diagnosing::may_drive(const diagnosis::Probe& probe) const {
  const auto ohm = probing_.driven_ohm(probe);
  if (!ohm) return std::nullopt;
  const double good = desk_.scene.good(0).resistances(probe.sight.a, probe.sight.b);
  return std::isfinite(*ohm) && *ohm > 0.5 * good;
}

void Diagnosing::ask(std::size_t asked) {
  const diagnosis::Probe& probe = desk_.probes[asked];
  if (probe.kind != diagnosis::ProbeKind::ohm) {
    const bool hot = desk_.scene.situations()[probe.situation].hot;
    const diagnosis::Probe first{diagnosis::ProbeKind::ohm,
                                 network::between(probe.sight.a, probe.sight.b),
                                 hot ? probe.situation : 0};
    auto may = may_drive(probe);
    if (!may) {
      // A winding that is warm by nobody knows how much tells nothing by itself.
      if (const auto z = probing_.read(first); z && !hot) search_.add(*z);
      may = may_drive(probe);
      if (may && !hot) return;  // the reading may have changed the question
    }
    if (!may.value_or(false)) return search_.skip(asked);
  }
  if (const auto z = probing_.read(probe))
    search_.add(*z);
  else
    search_.skip(asked);
}

// Every closed circuit of the list at rest, read again and again.
void Diagnosing::hold_all(const std::function<void(const std::string&)>& on_hold) {
  const auto at_rest = desk_.scene.situations().front().state;
  for (const std::size_t p : desk_.list) {
    const diagnosis::Probe& probe = desk_.probes[p];
    const auto& situation = desk_.scene.situations()[probe.situation];
    if (probe.kind != diagnosis::ProbeKind::ohm || !situation.tied.empty() ||
        situation.state != at_rest)
      continue;
    on_hold(text_of(desk_.scene, probe));
    desk_.held.push_back(probing_.hold(probe, asked_.hold_s));
  }
}

}  // namespace pinproof::session
