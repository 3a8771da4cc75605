// pinproof coverage: which faults a bench and its probes can see and tell apart.
#include "diagnosis/coverage.h"

#include <CLI/CLI.hpp>
#include <cstdio>

#include "app/command.h"
#include "app/open_bench.h"
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
  app.add_flag("--meter-only", options.by_hand, "A meter and two probes: nothing tied or driven");
}

diagnosis::Means means_of(const profile::Profile& profile) {
  diagnosis::Means means;
  if (options.by_hand) return {.lever = true, .tie = false, .source = false};
  if (options.bench.bench.empty()) return means;
  OpenBench opened(options.bench, &profile, false);
  const auto can = inspection::capabilities_of(opened.description(), opened.instruments());
  return {.lever = can.lever, .tie = can.tie, .source = can.drive};
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
  std::fputs((common.json ? report::coverage_json(scene, probes, coverage)
                          : report::coverage_text(scene, probes, coverage))
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
