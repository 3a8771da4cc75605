// pinproof diagnose: from whatever readings there are to the fault's name, and to the next probe.
#include <CLI/CLI.hpp>
#include <algorithm>
#include <cstdio>

#include "app/command.h"
#include "app/open_bench.h"
#include "app/values.h"
#include "diagnosis/conclusion.h"
#include "diagnosis/intermittent.h"
#include "diagnosis/observe.h"
#include "hand/terminal.h"
#include "inspection/judge/judge.h"
#include "profile/harness.h"
#include "profile/load.h"
#include "quantity/error.h"
#include "quantity/file.h"
#include "record/json.h"
#include "record/readings.h"
#include "report/diagnosis.h"
#include "session/diagnosing.h"
#include "terminal/progress.h"

namespace pinproof::app {
namespace {

using diagnosis::Conclusion;

constexpr std::size_t kLargestFile = std::size_t{256} << 20;

struct DiagnoseOptions {
  std::string profile, harness, readings, record;
  std::vector<std::string> codes;
  BenchOptions bench;
  double celsius_u = 2;
  double hold_s = 0;
  bool thorough = false, soak = false;
};

void add_options(CLI::App& app, DiagnoseOptions& options) {
  takes_profile(app.add_option("--profile", options.profile, "Profile file or installed name"))
      ->required();
  options.bench.add(app, false);
  takes_file(app.add_option("--harness", options.harness,
                            "Harness file: tested with the pack, from either end or plugged in; by "
                            "--readings, or with probes held by hand"));
  app.add_flag("--soak", options.soak,
               "You can warm the pack through: insulation that fails only when hot is asked for, "
               "at the end");
  takes_file(app.add_option("--readings", options.readings,
                            "Readings taken with any meter, or the record of an inspection"));
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
  takes_file(app.add_option("--record", options.record, "Write what was read to this JSON file"));
}

/// Readings, and why nothing good can be told from them; empty where it can.
struct Written {
  record::WrittenReadings readings;
  std::string doubt;
};

// A bench that failed its own check says nothing of the pack, neither good nor bad.
Written written_in(const DiagnoseOptions& options, const profile::Profile& profile) {
  const std::string& file = options.readings;
  const std::string text = read_file(file, kLargestFile);
  if (text.find("\"pinproof/record/1\"") != std::string::npos) {
    const auto record = record::from_json(text, file);
    // A pack's own record serves where the harness is looked at, too.
    const bool pack_alone = !options.harness.empty() && record.header.profile_name != profile.name;
    const auto whose = pack_alone ? profile::load_profile(find_profile(options.profile)) : profile;
    const auto judgement = inspection::judge(whose, record);
    const std::string doubt = inspection::doubt_about(judgement, record);
    if (inspection::exit_code(judgement, record) == 4)
      throw Error(Fault::bench, file + ": " + doubt + "Nothing is diagnosed from it.");
    return {record::readings_of(record), doubt};
  }
  return {record::readings_from_json(text, file), ""};
}

session::DiagnosisAsked asked_of(const DiagnoseOptions& options) {
  return {options.codes, options.hold_s, options.thorough, options.soak};
}

int finish(const Common& common, const session::DiagnosisDesk& desk, diagnosis::Search& search) {
  const auto input = desk.input(search);
  const Conclusion conclusion = diagnosis::conclude(input, search.ranking(), search.next());
  std::fputs((common.json ? report::diagnosis_json(input, conclusion)
                          : report::diagnosis_text(input, conclusion))
                 .c_str(),
             stdout);
  switch (conclusion.outcome) {
    case Conclusion::End::good:
      return 0;
    case Conclusion::End::fault:
      return 1;
    case Conclusion::End::open:
      break;
  }
  return 2;
}

std::optional<Estimate> entered_celsius(const DiagnoseOptions& options) {
  if (!options.bench.celsius) return std::nullopt;
  return Estimate{*options.bench.celsius, options.celsius_u};
}

int from_readings(const DiagnoseOptions& options, const Common& common,
                  const profile::Profile& profile) {
  Written from_file;
  if (!options.readings.empty()) from_file = written_in(options, profile);
  const record::WrittenReadings& written = from_file.readings;
  // Somebody who drove nothing has a meter: no other question is asked.
  const bool source = std::any_of(written.readings.begin(), written.readings.end(),
                                  [](const auto& one) { return !one.drive.empty(); });
  const auto entered = entered_celsius(options);
  session::DiagnosisDesk desk(profile,
                              session::celsius_or_room(entered ? entered : written.celsius),
                              {.lever = true,
                               .tie = false,
                               .soak = options.soak,
                               .source = source && options.harness.empty()},
                              asked_of(options));
  const auto observations = diagnosis::observe(desk.scene, written, options.readings);
  desk.unproven = from_file.doubt;
  desk.held = diagnosis::held_of(desk.scene, written, options.readings);
  desk.search.most += observations.size();
  diagnosis::Search search(desk.scene, desk.suspects, desk.probes, desk.list, desk.search);
  search.add_all(observations);
  return finish(common, desk, search);
}

void write_record(const std::string& path, const record::Record& record) {
  if (!path.empty()) write_file(path, record::to_json(record) + "\n");
}

int on_bench(const DiagnoseOptions& options, const Common& common,
             const profile::Profile& profile) {
  terminal::Progress progress;
  BenchOptions wanted = options.bench;
  wanted.person = options.soak;
  wanted.console = progress.console(hand::open_terminal);
  OpenBench opened(wanted, &profile);
  if (!options.harness.empty() && opened.instruments().paths &&
      opened.instruments().paths->can_tie())
    throw Error(Fault::usage,
                "--harness on a bench needs probes held by hand: relays are wired to a "
                "pack alone");
  record::Record record;
  record.header = opened.header(profile);
  if (opened.by_hand()) progress.silence();
  inspection::RunOptions run = opened.run_options(profile, {&progress});
  run.watchers = {&progress};
  session::Diagnosing diagnosing(profile, opened, run, record, asked_of(options),
                                 entered_celsius(options));
  try {
    diagnosing.run([](const session::DiagnosisDesk&, diagnosis::Search&) {},
                   [&](const std::string& circuit) {
                     progress.clear();
                     std::fprintf(stderr, "Move the connector and the harness: %s, %.0f s\n",
                                  circuit.c_str(), options.hold_s);
                   });
  } catch (const Error&) {
    progress.clear();
    write_record(options.record, record);
    if (!diagnosing.search().readings().empty())
      finish(common, diagnosing.desk(), diagnosing.search());
    throw;
  }
  progress.clear();
  write_record(options.record, record);
  return finish(common, diagnosing.desk(), diagnosing.search());
}

int run(const DiagnoseOptions& options, const Common& common) {
  auto profile = profile::load_profile(find_profile(options.profile));
  if (!options.harness.empty())
    profile = profile::joined(profile, profile::load_harness(options.harness, profile));
  if (!options.bench.bench.empty() && !options.readings.empty())
    throw Error(Fault::usage, "--bench and --readings: one of them, please");
  return options.bench.bench.empty() && options.bench.replay_dialogue.empty()
             ? from_readings(options, common, profile)
             : on_bench(options, common, profile);
}

Run prepare(CLI::App& app) { return prepared(app, add_options, run); }

}  // namespace

const Command kDiagnose{.name = "diagnose",
                        .description =
                            "Name the fault in the fewest probings, or say where to "
                            "probe next",
                        .example =
                            "pinproof diagnose --profile six-speed-20-pin --bench "
                            "bench.json --code P0871 P0988",
                        .prepare = prepare};

}  // namespace pinproof::app
