// pinproof inspect: the main job.
#include <CLI/CLI.hpp>
#include <cstdio>

#include "app/command.h"
#include "app/open_bench.h"
#include "app/progress.h"
#include "inspection/judge.h"
#include "inspection/run.h"
#include "profile/load.h"
#include "quantity/document.h"
#include "quantity/error.h"
#include "record/json.h"
#include "report/formats.h"

namespace pinproof::app {
namespace {

struct Options {
  std::string profile, serial, lot, note, record, html, csv;
  BenchOptions bench;
  bool only_static = false;
  bool verbose = false;
} options;

void add_options(CLI::App& app) {
  app.add_option("--profile", options.profile, "Profile file or installed name")->required();
  options.bench.add(app, true);
  app.add_option("--serial", options.serial, "Serial number of the pack");
  app.add_option("--lot", options.lot, "Lot or delivery");
  app.add_option("--note", options.note, "A note for the record");
  app.add_option("--html", options.html, "Write the report to this HTML file");
  app.add_option("--csv", options.csv, "Write the readings to this CSV file");
  app.add_option("--record", options.record, "Write the record to this JSON file");
  app.add_flag("--static", options.only_static, "Drive no coil: a verdict at level static");
  app.add_flag("--verbose", options.verbose, "Print every check, not only those that need a look");
}

// Paths that cannot be written are told before a coil is touched, not after.
void check_writable(const std::string& path) {
  if (path.empty()) return;
  write_file(path + ".try", "");
  std::remove((path + ".try").c_str());
}

void write_reports(const report::Input& input) {
  if (!options.record.empty()) write_file(options.record, record::to_json(*input.record) + "\n");
  if (!options.html.empty()) write_file(options.html, report::render("html", input));
  if (!options.csv.empty()) write_file(options.csv, report::render("csv", input));
}

int run(const Common& common) {
  const auto profile = profile::load_profile(find_profile(options.profile));
  for (const std::string& path : {options.record, options.html, options.csv}) check_writable(path);

  OpenBench opened(options.bench, &profile);
  record::Record record;
  record.header = opened.header(profile);
  record.header.serial = options.serial, record.header.lot = options.lot;
  record.header.note = options.note;
  record.header.full =
      !options.only_static &&
      inspection::capabilities_of(opened.description(), opened.instruments()).drive;
  Progress progress(!opened.by_hand());
  inspection::RunOptions run = opened.run_options(profile, {&progress});
  run.full = record.header.full;
  std::exception_ptr stopped;
  try {
    inspection::run_inspection(run, record);
  } catch (const Error&) {
    stopped = std::current_exception();
  }
  progress.clear();

  const auto judgement = inspection::judge(profile, record);
  const report::Input input{&profile, &record, &judgement, options.verbose};
  write_reports(input);
  std::fputs(report::render(common.json ? "json" : "text", input).c_str(), stdout);
  if (!common.json && !options.html.empty()) std::printf("Report: %s\n", options.html.c_str());
  if (stopped) std::rethrow_exception(stopped);
  return inspection::exit_code(judgement, record);
}

}  // namespace

const Command kInspect{.name = "inspect",
                       .description = "Inspect a pack on a bench and give a verdict",
                       .example =
                           "pinproof inspect --profile six-speed-20-pin --bench bench.json "
                           "--serial A17 --html A17.html",
                       .options = add_options,
                       .run = run};

}  // namespace pinproof::app
