// pinproof coverage: which faults a bench and its probes can see and tell apart.
#include "diagnosis/coverage.h"

#include <CLI/CLI.hpp>
#include <cstdio>

#include "app/command.h"
#include "app/open_bench.h"
#include "diagnosis/trials.h"
#include "inspection/run.h"
#include "profile/load.h"
#include "report/diagnosis.h"

namespace pinproof::app {
namespace {

struct Options {
  std::string profile;
  BenchOptions bench;
  double noise_ohm = 0.05;
  double tolerance_percent = 0;
  bool by_hand = false;
  int packs = 0;
} options;

void add_options(CLI::App& app) {
  app.add_option("--profile", options.profile, "Profile file or installed name")->required();
  options.bench.add(app, false);
  app.add_option("--noise-ohm", options.noise_ohm, "Standard uncertainty of a reading (0.05)")
      ->check(CLI::Range(1e-4, 100.0));
  app.add_option("--tolerance", options.tolerance_percent,
                 "Relative standard deviation of all parts in percent, in place of the profile's "
                 "limits")
      ->check(CLI::Range(0.1, 50.0));
  app.add_option(
         "--packs", options.packs,
         "Also draw so many good packs and as many faulty ones at random, and diagnose them")
      ->check(CLI::Range(1, 100000));
  app.add_flag("--meter-only", options.by_hand, "A meter and two probes: nothing tied or driven");
}

diagnosis::Means means_of(const profile::Profile& profile) {
  diagnosis::Means means;
  if (options.by_hand) return {.lever = true, .tie = false, .soak = false, .source = false};
  if (options.bench.bench.empty()) return means;
  OpenBench opened(options.bench, &profile, false);
  const auto can = inspection::capabilities_of(opened.description(), opened.instruments());
  return {.lever = can.lever, .tie = can.tie, .soak = false, .source = can.drive};
}

// Good packs and packs with one seen fault, each drawn by its own seed.
diagnosis::Trials trials_of(const diagnosis::Scene& scene,
                            const std::vector<diagnosis::Suspect>& suspects,
                            const std::vector<diagnosis::Probe>& probes,
                            const diagnosis::Coverage& coverage) {
  diagnosis::SearchOptions search;
  search.noise_ohm = options.noise_ohm;
  return diagnosis::trials(scene, suspects, probes, coverage, search, options.packs);
}

int run(const Common& common) {
  const auto profile = profile::load_profile(find_profile(options.profile));
  network::ModelOptions model_options;
  if (options.tolerance_percent > 0) model_options.tolerance = options.tolerance_percent / 100;
  const network::Model model(profile, model_options);
  diagnosis::Scene scene(model, diagnosis::usual_situations(profile));
  const auto suspects = diagnosis::suspects_of(model);
  const auto probes = diagnosis::probes_of(scene, means_of(profile));
  const auto coverage = diagnosis::coverage_of({&scene, &suspects, &probes, options.noise_ohm});
  diagnosis::Trials trials;
  if (options.packs > 0) trials = trials_of(scene, suspects, probes, coverage);
  std::fputs((common.json ? report::coverage_json(scene, probes, coverage, trials)
                          : report::coverage_text(scene, probes, coverage, trials))
                 .c_str(),
             stdout);
  return 0;
}

}  // namespace

const Command kCoverage{.name = "coverage",
                        .description = "Which faults this bench can see and tell apart",
                        .example = "pinproof coverage --profile six-speed-20-pin --meter-only",
                        .options = add_options,
                        .run = run};

}  // namespace pinproof::app
