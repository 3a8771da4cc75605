// pinproof simulate: serve a simulated bench with a pack on it.
#include <CLI/CLI.hpp>
#include <cstdio>
#include <nlohmann/json.hpp>

#include "app/command.h"
#include "app/stop.h"
#include "profile/load.h"
#include "quantity/document.h"
#include "quantity/error.h"
#include "simulated/faults.h"
#include "simulated/server.h"

namespace pinproof::app {
namespace {

struct Options {
  std::string profile, bench_file, dialects;
  std::vector<std::string> faults;
  std::uint64_t seed = 1;
  double speed = 1;
  int port = 0;
  bool list = false;
} options;

void add_options(CLI::App& app) {
  app.add_option("--profile", options.profile, "Profile of the pack on the bench");
  app.add_option(
      "--fault", options.faults,
      "A fault of the pack or the bench, \"coil B: shorted-turns 10%\"; may be repeated");
  app.add_option("--seed", options.seed, "Which good pack is drawn, and its noise")
      ->capture_default_str();
  app.add_option("--speed", options.speed,
                 "Instrument time runs this many times faster; 0 waits for nothing")
      ->check(CLI::Range(0.0, 1e6))
      ->capture_default_str();
  app.add_option("--port", options.port, "First of five TCP ports on 127.0.0.1; 0 takes free ones")
      ->check(CLI::Range(0, 65530))
      ->capture_default_str();
  app.add_option("--bench-file", options.bench_file,
                 "Write the bench file for inspect here, once all instruments listen");
  app.add_option("--dialects", options.dialects,
                 "Folder of dialect files, instead of the installed one");
  app.add_flag("--faults", options.list, "List the fault classes and stop");
}

int list_faults(const Common& common) {
  nlohmann::ordered_json out = nlohmann::ordered_json::array();
  for (const auto& fault : simulated::fault_classes()) {
    out.push_back({{"class", fault.name},
                   {"applies_to", fault.applies_to},
                   {"size", fault.stated_size},
                   {"text", fault.description}});
    if (!common.json)
      std::printf("%-22s %-18s %-12s %s\n", std::string(fault.name).c_str(),
                  std::string(fault.applies_to).c_str(), std::string(fault.stated_size).c_str(),
                  std::string(fault.description).c_str());
  }
  if (common.json) std::printf("%s\n", out.dump(2).c_str());
  return 0;
}

int run(const Common& common) {
  if (options.list) return list_faults(common);
  if (options.profile.empty())
    throw Error(Fault::usage, "--profile is required (or --faults to list the fault classes)");
  const auto profile = profile::load_profile(find_profile(options.profile));
  simulated::Options bench;
  bench.profile = profile;
  bench.seed = options.seed;
  bench.faults = options.faults;
  bench.speed = options.speed;
  bench.first_port = options.port;
  bench.dialect_folder = options.dialects.empty() ? dialect_folder() : options.dialects;
  simulated::Bench simulated(bench);
  simulated.start();
  if (!options.bench_file.empty()) write_file(options.bench_file, simulated.bench_file());
  if (common.json)
    std::printf("%s\n", simulated.bench_file().c_str());
  else
    std::printf("Simulated bench with \"%s\", seed %llu. Ctrl-C stops it.\n", profile.name.c_str(),
                static_cast<unsigned long long>(options.seed));
  std::fflush(stdout);
  try {
    while (true) sleep_or_stop(3600);
  } catch (const Error&) {  // stopped: the normal end of a server
  }
  simulated.stop();
  return 0;
}

}  // namespace

const Command kSimulate{.name = "simulate",
                        .description = "Serve a simulated bench with a pack on it, over TCP",
                        .example =
                            "pinproof simulate --profile six-speed-20-pin --fault \"coil B: "
                            "shorted-turns 10%\" --bench-file bench.json",
                        .options = add_options,
                        .run = run};

}  // namespace pinproof::app
