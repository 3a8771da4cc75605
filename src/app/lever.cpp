// pinproof lever: does every lever position give the right code, and could an engine start in gear?
#include "report/lever.h"

#include <CLI/CLI.hpp>
#include <cstdio>

#include "app/command.h"
#include "app/open_bench.h"
#include "app/values.h"
#include "inspection/judge/judge.h"
#include "profile/harness.h"
#include "profile/load.h"
#include "quantity/error.h"
#include "quantity/file.h"
#include "record/json.h"
#include "session/lever_proof.h"
#include "terminal/lever_eye.h"

namespace pinproof::app {
namespace {

constexpr std::size_t kLargestFile = std::size_t{256} << 20;

struct LeverOptions {
  std::string profile, harness, observed, record;
  BenchOptions bench;
  double rest_s = 6;
  bool free = false, both_ways = false, gears = false;
};

void add_options(CLI::App& app, LeverOptions& options) {
  takes_profile(app.add_option("--profile", options.profile, "Profile file or installed name"))
      ->required();
  options.bench.add(app, false);
  takes_file(app.add_option("--observed", options.observed,
                            "Codes that were read, readings with a lever position, or a record"));
  takes_file(app.add_option("--harness", options.harness,
                            "Harness file: read from the controller's end, plugged into the pack"));
  app.add_flag("--free", options.free,
               "You move the lever as you like, from the first position to the last and back");
  app.add_option("--rest", options.rest_s, "With --free: it ends after so many seconds of rest")
      ->check(CLI::Range(1.0, 600.0))
      ->capture_default_str();
  app.add_flag("--both-ways", options.both_ways,
               "By hand too: from the first position to the last and back (relays always do)");
  app.add_flag("--gears", options.gears,
               "Then the gear table: in each gear its coils, air at its elements, all switches");
  takes_file(app.add_option("--record", options.record, "Write what was read to this JSON file"));
}

int finish(const Common& common, const profile::Profile& profile,
           const session::LeverTested& tested) {
  using inspection::Verdict;
  const lever::GearStudy* gears = tested.gears ? &*tested.gears : nullptr;
  std::string text = common.json ? report::lever_json(profile.name, tested.study, gears)
                                 : report::lever_text(profile.name, tested.study, gears);
  if (gears && !common.json) text += report::gears_text(profile, *gears);
  std::fputs(text.c_str(), stdout);
  const Verdict lever = tested.study.verdict;
  const Verdict worse = gears ? inspection::worse(lever, gears->verdict) : lever;
  return worse == Verdict::reject ? 1 : worse == Verdict::hold ? 2 : 0;
}

lever::RemarkedTaps from_file(const std::string& file, const profile::Profile& profile,
                              const lever::RangeCode& code, const std::vector<lever::Tap>& taps,
                              std::string& doubt) {
  const std::string text = read_file(file, kLargestFile);
  if (text.find("\"pinproof/record/1\"") != std::string::npos) {
    const auto record = record::from_json(text, file);
    doubt = inspection::doubt_about(inspection::judge(profile, record), record);
    return lever::observe(profile, code, taps, record::readings_of(record), file);
  }
  if (text.find("\"pinproof/readings/1\"") != std::string::npos)
    return lever::observe(profile, code, taps, record::readings_from_json(text, file), file);
  return lever::observe(code, text, file);
}

session::LeverTested on_bench(const LeverOptions& options, const profile::Profile& profile,
                              lever::RangeCode code, std::vector<lever::Tap> taps) {
  BenchOptions wanted = options.bench;
  wanted.hands = options.gears;  // a lever that is moved by hand is recognised without keys
  OpenBench opened(wanted, &profile);
  record::Record record;
  record.header = opened.header(profile);
  const auto run = opened.run_options(profile, {});
  const auto eye = terminal::lever_eye();
  auto out = session::test_lever(
      profile, std::move(code), std::move(taps), opened, run,
      {!options.harness.empty(), options.free, options.both_ways, options.gears, options.rest_s},
      *eye, record);
  if (!options.record.empty()) write_file(options.record, record::to_json(record) + "\n");
  return out;
}

int run(const LeverOptions& options, const Common& common) {
  auto profile = profile::load_profile(find_profile(options.profile));
  lever::RangeCode code = lever::code_of(profile);
  std::vector<lever::Tap> taps = lever::taps_of(profile, code);
  if (!options.harness.empty()) {
    const auto harness = profile::load_harness(options.harness, profile);
    taps = lever::taps_of(profile, code, harness);
    profile = profile::joined(profile, harness);
  }
  if (options.bench.bench.empty() == options.observed.empty())
    throw Error(Fault::usage, "--bench or --observed is wanted: one of them");
  if (options.free && !options.record.empty())
    throw Error(Fault::usage, "--record: a free walk has no positions to keep readings by");
  if (!options.observed.empty()) {
    std::string doubt;
    auto seen = from_file(options.observed, profile, code, taps, doubt);
    auto study = lever::study_of(profile, std::move(code), std::move(taps), std::move(seen));
    if (!doubt.empty()) {
      study.verdict = inspection::worse(study.verdict, inspection::Verdict::hold);
      study.why = doubt + study.why;
    }
    return finish(common, profile, {std::move(study), std::nullopt});
  }
  return finish(common, profile, on_bench(options, profile, std::move(code), std::move(taps)));
}

Run prepare(CLI::App& app) { return prepared(app, add_options, run); }

}  // namespace

const Command kLever{.name = "lever",
                     .description =
                         "Prove the lever's range code in every position, and say whether an "
                         "engine could start in gear",
                     .example = "pinproof lever --profile six-speed-20-pin --bench bench.json",
                     .prepare = prepare};

}  // namespace pinproof::app
