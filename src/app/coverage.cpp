// pinproof coverage: which faults a bench and its probes can see and tell apart.
#include "diagnosis/coverage.h"

#include <CLI/CLI.hpp>
#include <cstdio>

#include "app/command.h"
#include "app/open_bench.h"
#include "app/values.h"
#include "diagnosis/trials.h"
#include "inspection/run/run.h"
#include "profile/load.h"
#include "report/detection.h"
#include "report/diagnosis.h"
#include "scpi/dialect.h"

namespace pinproof::app {
namespace {

struct CoverageOptions {
  std::string profile;
  BenchOptions bench;
  double noise_ohm = 0.05;
  double tolerance_percent = 0;
  bool by_hand = false;
  int packs = 0;
};

void add_options(CLI::App& app, CoverageOptions& options) {
  takes_profile(app.add_option("--profile", options.profile, "Profile file or installed name"))
      ->required();
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

// A bench as far as coverage depends on it.
struct BenchSight {
  diagnosis::Means means;
  inspection::DetectionLimits limits;
  bool full = false;
  std::string words;
};

// Where no bench is given: a full fixture, or a meter with two probes and a person who moves lever
// and air. Both with a common bench meter and a thermometer good to 0.5 K.
BenchSight assumed(const profile::Profile& profile, bool by_hand) {
  constexpr double kThermometer_u_K = 0.3;
  inspection::Capabilities can;
  can.lever = can.celsius = can.reference = can.high_reference = true;
  can.tie = can.drive = !by_hand;
  BenchSight out;
  if (by_hand) out.means = {.lever = true, .tie = false, .soak = false, .source = false};
  const auto meter = scpi::Dialect::load(dialect_folder() + "/meter-34401a.json").accuracy();
  out.limits = inspection::detection_limits(profile, can, meter, !by_hand,
                                            bench::Fixture{}.contact_u_ohm, kThermometer_u_K);
  out.full = can.drive;
  out.words = std::string(by_hand ? "two probes" : "a full fixture") +
              ", the accuracy of the dialect meter-34401a assumed";
  return out;
}

BenchSight seen_by(const CoverageOptions& options, const profile::Profile& profile) {
  if (options.by_hand || options.bench.bench.empty()) return assumed(profile, options.by_hand);
  OpenBench opened(options.bench, &profile, false);
  const auto& bench = opened.description();
  const auto can = inspection::capabilities_of(bench, opened.instruments());
  const auto* meter = bench.find("meter");
  BenchSight out;
  out.means = {.lever = can.lever, .tie = can.tie, .soak = false, .source = can.drive};
  out.full = can.drive;
  out.words = "this bench";
  if (meter && opened.instruments().meter)
    out.limits = inspection::detection_limits(profile, can, meter->accuracy,
                                              opened.instruments().meter->can_four_wire(),
                                              bench.fixture.contact_u_ohm, bench.thermometer_u_K);
  return out;
}

// Good packs and packs with one seen fault, each drawn by its own seed.
diagnosis::Trials trials_of(const CoverageOptions& options, const diagnosis::Scene& scene,
                            const std::vector<diagnosis::Suspect>& suspects,
                            const std::vector<diagnosis::Probe>& probes,
                            const diagnosis::Coverage& coverage) {
  diagnosis::SearchOptions search;
  search.noise_ohm = options.noise_ohm;
  return diagnosis::trials(scene, suspects, probes, coverage, search, options.packs);
}

int run(const CoverageOptions& options, const Common& common) {
  const auto profile = profile::load_profile(find_profile(options.profile));
  network::ModelOptions model_options;
  if (options.tolerance_percent > 0) model_options.tolerance = options.tolerance_percent / 100;
  const network::Model model(profile, model_options);
  const BenchSight bench = seen_by(options, profile);
  diagnosis::Scene scene(model, diagnosis::usual_situations(profile));
  const auto suspects = diagnosis::suspects_of(model);
  const auto probes = diagnosis::probes_of(scene, bench.means);
  const auto coverage = diagnosis::coverage_of({&scene, &suspects, &probes, options.noise_ohm});
  diagnosis::Trials trials;
  if (options.packs > 0) trials = trials_of(options, scene, suspects, probes, coverage);
  const std::string level = bench.full ? "full" : "static";
  const std::string text =
      common.json ? report::with_detection(report::coverage_json(scene, probes, coverage, trials),
                                           bench.limits, level)
                  : report::coverage_text(scene, probes, coverage, trials) +
                        report::detection_text(bench.limits, level, bench.words);
  std::fputs(text.c_str(), stdout);
  return 0;
}

Run prepare(CLI::App& app) { return prepared(app, add_options, run); }

}  // namespace

const Command kCoverage{.name = "coverage",
                        .description = "Which faults this bench can see and tell apart",
                        .example = "pinproof coverage --profile six-speed-20-pin --meter-only",
                        .prepare = prepare};

}  // namespace pinproof::app
