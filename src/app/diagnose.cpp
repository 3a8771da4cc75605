// pinproof diagnose: from whatever readings there are to the fault's name, and to the next probe.
#include <CLI/CLI.hpp>
#include <algorithm>
#include <cmath>
#include <cstdio>

#include "app/command.h"
#include "app/open_bench.h"
#include "app/probing.h"
#include "app/progress.h"
#include "app/stop.h"
#include "diagnosis/conclusion.h"
#include "diagnosis/cover.h"
#include "diagnosis/intermittent.h"
#include "diagnosis/observe.h"
#include "inspection/evidence.h"
#include "profile/harness.h"
#include "profile/load.h"
#include "quantity/document.h"
#include "quantity/error.h"
#include "record/json.h"
#include "record/readings.h"
#include "report/diagnosis.h"

namespace pinproof::app {
namespace {

using diagnosis::Conclusion;

constexpr std::size_t kLargestFile = std::size_t{256} << 20;
constexpr double kRoom_celsius = 23, kRoom_u = 3;  // where nobody says how warm the pack is

struct Options {
  std::string profile, harness, readings, record;
  std::vector<std::string> codes;
  BenchOptions bench;
  double celsius_u = 2;
  double hold_s = 0;
  bool thorough = false, soak = false;
} options;

void add_options(CLI::App& app) {
  app.add_option("--profile", options.profile, "Profile file or installed name")->required();
  options.bench.add(app, false);
  app.add_option("--harness", options.harness,
                 "Harness file: tested with the pack, from either end or plugged in; by "
                 "--readings, or with probes held by hand");
  app.add_flag("--soak", options.soak,
               "You can warm the pack through: insulation that fails only when hot is asked for, "
               "at the end");
  app.add_option("--readings", options.readings,
                 "Readings taken with any meter, or the record of an inspection");
  app.add_option("--code", options.codes, "Trouble codes that were set: P0871 ...")
      ->expected(1, 100);
  app.add_option("--celsius-u", options.celsius_u,
                 "Standard uncertainty of --celsius in kelvin (2)")
      ->check(CLI::Range(0.01, 50.0));
  app.add_flag("--thorough", options.thorough,
               "Go on to the end of the list though a fault has a name: for second faults");
  app.add_option("--hold", options.hold_s,
                 "Then hold every circuit for so many seconds while you move the connector and the "
                 "harness, or warm the pack")
      ->check(CLI::Range(0.5, 600.0));
  app.add_option("--record", options.record, "Write what was read to this JSON file");
}

record::WrittenReadings written_in(const std::string& file) {
  const std::string text = read_file(file, kLargestFile);
  if (text.find("\"pinproof/record/1\"") != std::string::npos) {
    const auto record = record::from_json(text, file);
    return record::readings_of(record);
  }
  return record::readings_from_json(text, file);
}

network::ModelOptions at(double celsius) {
  network::ModelOptions out;
  out.celsius = celsius;
  return out;
}

// What everything after the temperature is known rests on.
struct Desk {
  Desk(const profile::Profile& profile, const Estimate& celsius, const diagnosis::Means& means)
      : model(profile, at(celsius.value)),
        scene(model, diagnosis::usual_situations(profile)),
        suspects(diagnosis::suspects_of(model)),
        probes(diagnosis::probes_of(scene, means)) {
    search.shared.warmth_K = celsius.u;
    search.shared.lead_ohm = 0.02;
    search.thorough = options.thorough;
    search.noise_ohm = 0.01;  // four-wire meters; a two-wire one is nulled
    if (!options.codes.empty()) {
      search.priors.weights = diagnosis::code_weights(profile, suspects, options.codes);
      search.priors.faulty = 0.7;
    }
    const auto instances = diagnosis::instances_of(suspects);
    std::vector<diagnosis::Readings> faulty;
    for (const auto& one : instances)
      faulty.push_back(
          readings_of(scene, probes, {diagnosis::Guess{one.suspect, one.size}}, kNoise_ohm));
    list =
        shortest_list(scene, probes, readings_of(scene, probes, {}, kNoise_ohm), instances, faulty);
    search.most = std::max(search.most, 2 * list.size());
  }
  diagnosis::ConclusionInput input(const diagnosis::Search& done) const {
    diagnosis::ConclusionInput out;
    out.scene = &scene, out.suspects = &suspects, out.probes = &probes, out.list = &list;
    out.codes = options.codes;
    out.readings = done.readings(), out.remarks = remarks, out.held = held;
    out.noise_ohm = kNoise_ohm, out.sure = search.sure;
    return out;
  }

  static constexpr double kNoise_ohm = 0.05;
  network::Model model;
  diagnosis::Scene scene;
  std::vector<diagnosis::Suspect> suspects;
  std::vector<diagnosis::Probe> probes;
  std::vector<std::size_t> list;
  diagnosis::SearchOptions search;
  std::vector<std::string> remarks;
  std::vector<diagnosis::Held> held;
};

int finish(const Common& common, const Desk& desk, const diagnosis::Search& search) {
  const auto input = desk.input(search);
  const Conclusion conclusion = diagnosis::conclude(input, search.ranking(), search.next());
  std::fputs((common.json ? report::diagnosis_json(input, conclusion)
                          : report::diagnosis_text(input, conclusion))
                 .c_str(),
             stdout);
  switch (conclusion.outcome) {
    case Conclusion::Outcome::good:
      return 0;
    case Conclusion::Outcome::fault:
      return 1;
    case Conclusion::Outcome::open:
      break;
  }
  return 2;
}

Estimate entered_celsius(const std::optional<Estimate>& written) {
  if (options.bench.celsius) return {*options.bench.celsius, options.celsius_u};
  return written.value_or(Estimate{kRoom_celsius, kRoom_u});
}

int from_readings(const Common& common, const profile::Profile& profile) {
  record::WrittenReadings written;
  if (!options.readings.empty()) written = written_in(options.readings);
  // Somebody who drove nothing has a meter: no other question is asked.
  const bool source = std::any_of(written.readings.begin(), written.readings.end(),
                                  [](const auto& one) { return !one.drive.empty(); });
  Desk desk(profile, entered_celsius(written.celsius),
            {.lever = true,
             .tie = false,
             .soak = options.soak,
             .source = source && options.harness.empty()});
  const auto observations = diagnosis::observe(desk.scene, written, options.readings);
  desk.held = diagnosis::held_of(desk.scene, written, options.readings);
  desk.search.most += observations.size();
  diagnosis::Search search(desk.scene, desk.suspects, desk.probes, desk.list, desk.search);
  search.add_all(observations);
  return finish(common, desk, search);
}

// A coil is driven only when its resistance says that it may be: as it is now, hot or cold.
// nullopt: it has not been read.
std::optional<bool> may_drive(const diagnosis::Scene& scene, const Probing& probing,
                              const diagnosis::Probe& probe) {
  const auto ohm = probing.driven_ohm(probe);
  if (!ohm) return std::nullopt;
  const double good = scene.good(0).resistances(probe.sight.a, probe.sight.b);
  return std::isfinite(*ohm) && *ohm > 0.5 * good;
}

void ask(Probing& probing, const Desk& desk, diagnosis::Search& search, std::size_t asked) {
  const diagnosis::Probe& probe = desk.probes[asked];
  if (probe.kind != diagnosis::Probe::Kind::ohm) {
    const bool hot = desk.scene.situations()[probe.situation].hot;
    const diagnosis::Probe first{diagnosis::Probe::Kind::ohm,
                                 network::between(probe.sight.a, probe.sight.b),
                                 hot ? probe.situation : 0};
    auto may = may_drive(desk.scene, probing, probe);
    if (!may) {
      // A winding that is warm by nobody knows how much tells nothing by itself.
      if (const auto z = probing.read(first); z && !hot) search.add(*z);
      may = may_drive(desk.scene, probing, probe);
      if (may && !hot) return;  // the reading may have changed the question
    }
    if (!may.value_or(false)) return search.skip(asked);
  }
  if (const auto z = probing.read(probe))
    search.add(*z);
  else
    search.skip(asked);
}

void ask_until_named(Probing& probing, const Desk& desk, diagnosis::Search& search,
                     const std::stop_token& stop) {
  while (const auto choice = search.next()) {
    if (stop.stop_requested()) throw Error(Fault::aborted, "stopped");
    ask(probing, desk, search, choice->probe);
  }
}

// Every closed circuit of the list at rest, read again and again.
void hold_all(Probing& probing, Desk& desk) {
  const auto at_rest = desk.scene.situations().front().state;
  for (const std::size_t p : desk.list) {
    const diagnosis::Probe& probe = desk.probes[p];
    const auto& situation = desk.scene.situations()[probe.situation];
    if (probe.kind != diagnosis::Probe::Kind::ohm || !situation.tied.empty() ||
        situation.state != at_rest)
      continue;
    std::fprintf(stderr, "Move the connector and the harness: %s, %.0f s\n",
                 text_of(desk.scene, probe).c_str(), options.hold_s);
    desk.held.push_back(probing.hold(probe, options.hold_s));
  }
}

Estimate measured_celsius(const profile::Profile& profile, const record::Record& record) {
  const auto celsius = inspection::Evidence(profile, record).celsius();
  return celsius && celsius->usable() ? *celsius : entered_celsius(std::nullopt);
}

void write_record(const record::Record& record) {
  if (!options.record.empty()) write_file(options.record, record::to_json(record) + "\n");
}

int on_bench(const Common& common, const profile::Profile& profile) {
  BenchOptions wanted = options.bench;
  wanted.person = options.soak;
  OpenBench opened(wanted, &profile);
  if (!options.harness.empty() && opened.instruments().paths &&
      opened.instruments().paths->can_tie())
    throw Error(Fault::usage,
                "--harness on a bench needs probes held by hand: relays are wired to a "
                "pack alone");
  record::Record record;
  record.header = opened.header(profile);
  Progress progress(!opened.by_hand());
  inspection::RunOptions run = opened.run_options(profile, {&progress});
  prove_bench(run, record);
  const auto can = inspection::capabilities_of(opened.description(), opened.instruments());
  Desk desk(profile, measured_celsius(profile, record),
            {.lever = can.lever, .tie = can.tie, .soak = options.soak, .source = can.drive});
  diagnosis::Search search(desk.scene, desk.suspects, desk.probes, desk.list, desk.search);
  Probing probing(desk.scene, run, record);
  try {
    ask_until_named(probing, desk, search, run.stop);
    desk.remarks = probing.remarks();
    if (options.hold_s > 0) hold_all(probing, desk);
    probing.finish();
    prove_bench(run, record);
  } catch (const Error& e) {
    progress.clear();
    const std::string unsafe = probing.make_safe_after_trouble();
    write_record(record);
    if (!search.readings().empty()) finish(common, desk, search);
    if (unsafe.empty()) throw;
    throw Error(e.fault(), e.what() + unsafe);
  }
  progress.clear();
  write_record(record);
  return finish(common, desk, search);
}

int run(const Common& common) {
  auto profile = profile::load_profile(find_profile(options.profile));
  if (!options.harness.empty())
    profile = profile::joined(profile, profile::load_harness(options.harness, profile));
  if (!options.bench.bench.empty() && !options.readings.empty())
    throw Error(Fault::usage, "--bench and --readings: one of them, please");
  return options.bench.bench.empty() && options.bench.replay_dialogue.empty()
             ? from_readings(common, profile)
             : on_bench(common, profile);
}

}  // namespace

const Command kDiagnose{.name = "diagnose",
                        .description =
                            "Name the fault in the fewest probings, or say where to "
                            "probe next",
                        .example =
                            "pinproof diagnose --profile six-speed-20-pin --bench "
                            "bench.json --code P0871 P0988",
                        .options = add_options,
                        .run = run};

}  // namespace pinproof::app
