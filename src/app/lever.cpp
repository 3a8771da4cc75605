// pinproof lever: does every lever position give the right code, and could an engine start in gear?
#include "report/lever.h"

#include <CLI/CLI.hpp>
#include <cstdio>

#include "app/command.h"
#include "app/gear_walk.h"
#include "app/lever_walk.h"
#include "app/open_bench.h"
#include "profile/harness.h"
#include "profile/load.h"
#include "quantity/document.h"
#include "quantity/error.h"
#include "record/json.h"

namespace pinproof::app {
namespace {

constexpr std::size_t kLargestFile = std::size_t{256} << 20;

struct Options {
  std::string profile, harness, observed, record;
  BenchOptions bench;
  double rest_s = 6;
  bool free = false, both_ways = false, gears = false;
} options;

void add_options(CLI::App& app) {
  app.add_option("--profile", options.profile, "Profile file or installed name")->required();
  options.bench.add(app, false);
  app.add_option("--observed", options.observed,
                 "Codes that were read, readings with a lever position, or a record");
  app.add_option("--harness", options.harness,
                 "Harness file: read from the controller's end, plugged into the pack");
  app.add_flag("--free", options.free,
               "You move the lever as you like, from the first position to the last and back");
  app.add_option("--rest", options.rest_s, "With --free: it ends after so many seconds of rest")
      ->check(CLI::Range(1.0, 600.0))
      ->capture_default_str();
  app.add_flag("--both-ways", options.both_ways,
               "By hand too: from the first position to the last and back (relays always do)");
  app.add_flag("--gears", options.gears,
               "Then the gear table: in each gear its coils, air at its elements, all switches");
  app.add_option("--record", options.record, "Write what was read to this JSON file");
}

// What a bench gave: the lever, and perhaps the gears.
struct Tested {
  lever::Study study;
  std::optional<lever::GearStudy> gears;
};

int finish(const Common& common, const profile::Profile& profile, const Tested& tested) {
  using inspection::Verdict;
  const lever::GearStudy* gears = tested.gears ? &*tested.gears : nullptr;
  std::string text = common.json ? report::lever_json(profile.name, tested.study, gears)
                                 : report::lever_text(profile.name, tested.study);
  if (gears && !common.json) text += report::gears_text(profile, *gears);
  std::fputs(text.c_str(), stdout);
  const auto worst = [&](Verdict verdict) {
    return tested.study.verdict == verdict || (gears && gears->verdict == verdict);
  };
  return worst(Verdict::reject) ? 1 : worst(Verdict::hold) ? 2 : 0;
}

lever::Seen from_file(const profile::Profile& profile, const lever::Code& code,
                      const std::vector<lever::Tap>& taps) {
  const std::string text = read_file(options.observed, kLargestFile);
  if (text.find("\"pinproof/record/1\"") != std::string::npos)
    return lever::observe(profile, code, taps,
                          record::readings_of(record::from_json(text, options.observed)),
                          options.observed);
  if (text.find("\"pinproof/readings/1\"") != std::string::npos)
    return lever::observe(profile, code, taps, record::readings_from_json(text, options.observed),
                          options.observed);
  return lever::observe(code, text, options.observed);
}

Tested on_bench(const profile::Profile& profile, lever::Code code, std::vector<lever::Tap> taps) {
  OpenBench opened(options.bench, &profile);
  auto& instruments = opened.instruments();
  const bool relays = instruments.paths && instruments.paths->can_tie();
  if (relays && !options.harness.empty())
    throw Error(Fault::usage,
                "--harness on a bench needs probes held by hand: relays are wired to "
                "a pack alone");
  if (!relays && (options.free || !instruments.actuator))
    throw Error(Fault::usage, options.free
                                  ? "--free needs relays: two probes see one contact at a time"
                                  : "this bench has nobody to move the lever: give it an actuator "
                                    "with driver \"hand\"");
  if (options.gears && (!instruments.actuator || !options.harness.empty()))
    throw Error(Fault::usage,
                "--gears needs somebody or something that applies air to the pack: an "
                "actuator, and no harness");
  record::Record record;
  record.header = opened.header(profile);
  const auto run = opened.run_options(profile, {});
  prove_bench(run, record);
  LeverWalk walk(code, taps, run, record, !options.harness.empty());
  GearWalk gear_walk(run, record);
  lever::Seen seen;
  std::vector<lever::Settled> settled;
  std::optional<lever::GearStudy> gears;
  try {
    if (options.free)
      settled = walk.freely(options.rest_s);
    else
      seen = relays ? walk.by_relays(true) : walk.by_hand(options.both_ways);
    if (options.gears) gears = gear_walk.walk();
    walk.make_safe();
    prove_bench(run, record);
  } catch (const Error& e) {
    const std::string unsafe = walk.make_safe_after_trouble();
    if (unsafe.empty()) throw;
    throw Error(e.fault(), e.what() + unsafe);
  }
  if (!options.record.empty()) write_file(options.record, record::to_json(record) + "\n");
  return {options.free ? lever::study_of(profile, std::move(code), std::move(taps), settled)
                       : lever::study_of(profile, std::move(code), std::move(taps), seen),
          std::move(gears)};
}

int run(const Common& common) {
  auto profile = profile::load_profile(find_profile(options.profile));
  lever::Code code = lever::code_of(profile);
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
    auto seen = from_file(profile, code, taps);
    return finish(common, profile,
                  {lever::study_of(profile, std::move(code), std::move(taps), std::move(seen)),
                   std::nullopt});
  }
  return finish(common, profile, on_bench(profile, std::move(code), std::move(taps)));
}

}  // namespace

const Command kLever{.name = "lever",
                     .description =
                         "Prove the lever's range code in every position, and say whether an "
                         "engine could start in gear",
                     .example = "pinproof lever --profile six-speed-20-pin --bench bench.json",
                     .options = add_options,
                     .run = run};

}  // namespace pinproof::app
