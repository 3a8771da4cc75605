// pinproof simulate: serve a simulated bench with a pack on it.
#include <CLI/CLI.hpp>
#include <cstdio>
#include <nlohmann/json.hpp>

#include "app/command.h"
#include "app/stop.h"
#include "app/values.h"
#include "profile/harness.h"
#include "profile/load.h"
#include "quantity/error.h"
#include "quantity/file.h"
#include "simulated/faults.h"
#include "simulated/server.h"

namespace pinproof::app {
namespace {

struct SimulateOptions {
  std::string profile, harness, bench_file, dialect_files, relays, account;
  std::string connect = "matrix";
  std::vector<std::string> dialects, ptys;
  std::vector<std::string> faults;
  std::uint64_t seed = 1;
  double speed = 1;
  int port = 0;
  bool list = false;
};

void add_options(CLI::App& app, SimulateOptions& options) {
  takes_profile(app.add_option("--profile", options.profile, "Profile of the pack on the bench"));
  takes_file(
      app.add_option("--harness", options.harness, "Harness file: one with the pack, plugged in"));
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
  takes_file(app.add_option("--bench-file", options.bench_file,
                            "Write the bench file for inspect here, once all instruments listen"));
  app.add_option(
      "--dialect", options.dialects,
      "Let an instrument speak another dialect, \"meter=meter-34401a\"; may be repeated");
  app.add_option("--pty", options.ptys,
                 "Put an instrument (\"meter\") on a pseudo-terminal, as if on a serial line");
  app.add_option(
      "--relays", options.relays,
      "Serve a Modbus relay board too: modbus-tcp://127.0.0.1:1502 or modbus-rtu:///dev/...");
  app.add_option("--connect", options.connect,
                 "What the bench file connects the pack with: matrix, modbus or hand")
      ->check(CLI::IsMember({"matrix", "modbus", "hand"}))
      ->capture_default_str();
  takes_file(app.add_option("--account", options.account,
                            "Write to this file when the output was on and what each coil got"));
  takes_folder(app.add_option("--dialects", options.dialect_files,
                              "Folder of dialect files, instead of the installed one"));
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

// "meter=meter-34401a".
std::map<std::string, std::string> by_role(const std::vector<std::string>& dialects) {
  std::map<std::string, std::string> out;
  for (const std::string& one : dialects) {
    const auto equals = one.find('=');
    if (equals == std::string::npos || equals == 0 || equals + 1 == one.size())
      throw Error(Fault::usage, "--dialect \"" + one + "\": ROLE=NAME is wanted");
    out[one.substr(0, equals)] = one.substr(equals + 1);
  }
  return out;
}

// One JSON line for each time the output went on or off.
void write_account(std::FILE* file, const simulated::OutputEvent& event) {
  nlohmann::ordered_json line{{"output", event.on ? "on" : "off"}, {"wall_s", event.wall_s}};
  if (!event.on) line["on_s"] = event.on_s;
  for (const auto& coil : event.coils)
    line["coils"].push_back({{"name", coil.name},
                             {"energy_J", coil.energy_J},
                             {"budget_J", coil.budget_J},
                             {"celsius", coil.celsius}});
  std::fprintf(file, "%s\n", line.dump().c_str());
  std::fflush(file);
}

int run(const SimulateOptions& options, const Common& common) {
  if (options.list) return list_faults(common);
  if (options.profile.empty())
    throw Error(Fault::usage, "--profile is required (or --faults to list the fault classes)");
  auto profile = profile::load_profile(find_profile(options.profile));
  if (!options.harness.empty())
    profile = profile::joined(profile, profile::load_harness(options.harness, profile));
  simulated::SimulationOptions bench;
  bench.profile = profile;
  bench.seed = options.seed;
  bench.faults = options.faults;
  bench.speed = options.speed;
  bench.first_port = options.port;
  bench.dialect_folder = options.dialect_files.empty() ? dialect_folder() : options.dialect_files;
  bench.dialects = by_role(options.dialects);
  bench.on_pty = {options.ptys.begin(), options.ptys.end()};
  bench.relays = options.relays;
  if (options.connect == "modbus" && bench.relays.empty())
    bench.relays = "modbus-tcp://127.0.0.1:0";
  bench.bench_by = options.connect;
  const std::unique_ptr<std::FILE, int (*)(std::FILE*)> account(
      options.account.empty() ? nullptr : std::fopen(options.account.c_str(), "we"), &std::fclose);
  if (!options.account.empty() && !account)
    throw Error(Fault::usage, options.account + ": cannot write");
  if (account)
    bench.on_output = [file = account.get()](const simulated::OutputEvent& event) {
      write_account(file, event);
    };
  simulated::SimulatedBench simulated(bench);
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

Run prepare(CLI::App& app) { return prepared(app, add_options, run); }

}  // namespace

const Command kSimulate{.name = "simulate",
                        .description = "Serve a simulated bench with a pack on it, over TCP",
                        .example =
                            "pinproof simulate --profile six-speed-20-pin --fault \"coil B: "
                            "shorted-turns 10%\" --bench-file bench.json",
                        .prepare = prepare};

}  // namespace pinproof::app
