// pinproof inspect: the main job.
#include <CLI/CLI.hpp>
#include <algorithm>
#include <cstdio>
#include <ctime>

#include "app/command.h"
#include "app/ledgers.h"
#include "app/open_bench.h"
#include "app/progress.h"
#include "inspection/judge.h"
#include "inspection/judged.h"
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
  LedgerOptions ledger;
  bool only_static = false, resume = false, anew = false;
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
  options.ledger.add(app);
  app.add_flag("--resume", options.resume,
               "Go on with an inspection of this serial that was cut off");
  app.add_flag("--anew", options.anew, "Leave that one unfinished and begin again")
      ->excludes("--resume");
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

constexpr std::size_t kLargestProfile = std::size_t{16} << 20;

void leave(Keeping& keeping, const profile::Profile& profile, const std::string& id) {
  const record::Record record = keeping.resume(id);
  const auto judgement = inspection::judge(profile, record);
  keeping.close("left", inspection::judged_of(judgement, profile.hash, record.header.program));
}

// The id of the attempt to go on with, or empty. One that was cut off is neither forgotten nor
// gone on with unasked.
std::string cut_off(Keeping& keeping, const profile::Profile& profile) {
  if (!keeping.keeps()) {
    if (options.resume) throw Error(Fault::usage, "--resume: no ledger, nothing to go on with");
    return "";
  }
  record::Search search;
  search.serial = options.serial, search.open_only = true;
  std::vector<record::Attempt> open = keeping.ledger().find(search);
  std::erase_if(open, [&](const record::Attempt& a) {
    return a.running || a.serial != options.serial || a.profile_hash != profile.hash;
  });
  if (options.resume) {
    if (open.empty())
      throw Error(Fault::usage, "--resume: no inspection of serial \"" + options.serial +
                                    "\" by this profile was cut off");
    return open.back().id;
  }
  if (options.anew)
    for (const auto& attempt : open) leave(keeping, profile, attempt.id);
  else if (!open.empty() && !options.serial.empty())
    throw Error(Fault::usage, "the inspection of " + options.serial + " that began at " +
                                  open.back().started_at +
                                  " was cut off: go on with --resume, or begin again with --anew");
  return "";
}

record::Record start(OpenBench& opened, Keeping& keeping, const profile::Profile& profile) {
  record::Record record;
  record.header = opened.header(profile);
  record.header.serial = options.serial, record.header.lot = options.lot;
  record.header.note = options.note;
  record.header.full =
      !options.only_static &&
      inspection::capabilities_of(opened.description(), opened.instruments()).drive;
  keeping.begin(record.header, read_file(find_profile(options.profile), kLargestProfile));
  return record;
}

// What was read then must still hold now: the same bench with the same reference, the same shift.
void refuse_stale(const record::Header& then, const record::Header& now) {
  constexpr double kOldest_s = 8 * 3600;
  const bool same_reference = then.reference.has_value() == now.reference.has_value() &&
                              (!then.reference || (then.reference->value == now.reference->value &&
                                                   then.reference->u == now.reference->u));
  if (then.bench_name != now.bench_name || !same_reference ||
      then.thermometer_u != now.thermometer_u)
    throw Error(Fault::usage, "--resume: it began on the bench \"" + then.bench_name +
                                  "\" or with other figures of it: begin again with --anew");
  std::tm began{};
  const bool read = ::strptime(then.started_at.c_str(), "%Y-%m-%dT%H:%M:%SZ", &began) != nullptr;
  if (!read || std::difftime(std::time(nullptr), ::timegm(&began)) > kOldest_s)
    throw Error(Fault::usage, "--resume: it began at " + then.started_at +
                                  ", more than 8 hours ago: its readings are stale, begin again "
                                  "with --anew");
}

record::Record go_on(OpenBench& opened, Keeping& keeping, const profile::Profile& profile,
                     const std::string& id) {
  refuse_stale(keeping.ledger().load_readings(id).header, opened.header(profile));
  record::Record record = keeping.resume(id);
  record.events.push_back(record::Resumed{record::utc_text()});
  keeping.on_event(record.events.back());
  return record;
}

bool is_over(const record::Record& record) {
  return std::any_of(record.events.begin(), record.events.end(), [](const record::Event& event) {
    return std::holds_alternative<record::Finished>(event);
  });
}

// Times go on where they stopped.
std::function<double()> clock_of(const record::Record& record, std::function<double()> now) {
  double last = 0;
  for (const record::Event& event : record.events) {
    if (const auto* reading = std::get_if<record::Reading>(&event)) last = reading->at_s;
    if (const auto* capture = std::get_if<record::Capture>(&event)) last = capture->at_s;
  }
  return [last, now = std::move(now)] { return last + now(); };
}

std::exception_ptr measure(OpenBench& opened, Keeping& keeping, const profile::Profile& profile,
                           record::Record& record, bool resumed) {
  Progress progress(!opened.by_hand());
  // The ledger first: nobody is told of a reading that is not kept.
  inspection::RunOptions run = opened.run_options(profile, {&keeping, &progress});
  run.full = record.header.full;
  run.resumed = resumed;
  run.now_s = clock_of(record, run.now_s);
  std::exception_ptr stopped;
  try {
    inspection::run_inspection(run, record);
  } catch (const Error&) {
    stopped = std::current_exception();
  }
  progress.clear();
  return stopped;
}

int run(const Common& common) {
  const auto profile = profile::load_profile(find_profile(options.profile));
  for (const std::string& path : {options.record, options.html, options.csv}) check_writable(path);

  Keeping keeping(options.ledger.place());
  const std::string resumed = cut_off(keeping, profile);
  OpenBench opened(options.bench, &profile);
  record::Record record =
      resumed.empty() ? start(opened, keeping, profile) : go_on(opened, keeping, profile, resumed);
  std::exception_ptr stopped;
  if (!is_over(record)) stopped = measure(opened, keeping, profile, record, !resumed.empty());

  const auto judgement = inspection::judge(profile, record);
  const report::Input input{&profile, &record, &judgement, options.verbose};
  std::string told;
  try {
    told = keeping.close(inspection::how_it_ended(judgement, record),
                         inspection::judged_of(judgement, profile.hash, record.header.program));
  } catch (const Error&) {
    // What was measured is kept, and said; only its verdict is not: --resume keeps that too.
    if (!stopped) stopped = std::current_exception();
    told = "The verdict is NOT in the ledger: make room and say --resume.";
  }
  write_reports(input);
  std::fputs(report::render(common.json ? "json" : "text", input).c_str(), stdout);
  if (!common.json && keeping.keeps()) std::printf("Record: %s\n", keeping.id().c_str());
  if (!common.json && !options.html.empty()) std::printf("Report: %s\n", options.html.c_str());
  if (!told.empty()) std::fprintf(stderr, "%s\n", told.c_str());
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
