// pinproof inspect: the main job.
#include <CLI/CLI.hpp>
#include <cstdio>

#include "app/command.h"
#include "app/ledgers.h"
#include "app/open_bench.h"
#include "app/pdf.h"
#include "app/values.h"
#include "hand/terminal.h"
#include "inspection/judge/judge.h"
#include "profile/load.h"
#include "quantity/characters.h"
#include "quantity/error.h"
#include "quantity/file.h"
#include "record/json.h"
#include "report/formats.h"
#include "session/inspecting.h"
#include "terminal/progress.h"

namespace pinproof::app {
namespace {

struct InspectOptions {
  std::string profile, serial, lot, note, record, html, pdf, csv;
  BenchOptions bench;
  LedgerOptions ledger;
  bool only_static = false, resume = false, anew = false;
  bool verbose = false;
};

void add_options(CLI::App& app, InspectOptions& options) {
  takes_profile(app.add_option("--profile", options.profile, "Profile file or installed name"))
      ->required();
  options.bench.add(app, true);
  app.add_option("--serial", options.serial, "Serial number of the pack");
  app.add_option("--lot", options.lot, "Lot or delivery");
  app.add_option("--note", options.note, "A note for the record");
  takes_file(app.add_option("--html", options.html, "Write the report to this HTML file"));
  takes_file(app.add_option("--pdf", options.pdf,
                            "Print the report to this PDF file, by an installed Chromium"));
  takes_file(app.add_option("--csv", options.csv, "Write the readings to this CSV file"));
  takes_file(app.add_option("--record", options.record, "Write the record to this JSON file"));
  options.ledger.add(app);
  app.add_flag("--resume", options.resume,
               "Go on with an inspection of this --serial that was cut off");
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

void write_reports(const InspectOptions& options, const report::Input& input) {
  if (!options.record.empty()) write_file(options.record, record::to_json(*input.record) + "\n");
  if (!options.html.empty()) write_file(options.html, report::render("html", input));
  if (!options.pdf.empty()) write_pdf(report::render("html", input), options.pdf);
  if (!options.csv.empty()) write_file(options.csv, report::render("csv", input));
}

// The answers of another day, and perhaps of another pack, must not pass as an inspection of now.
void keep_out_of_ledgers(const InspectOptions& options, session::Inspection& wanted) {
  const std::string& dialogue = options.bench.replay_dialogue;
  const std::string& ledger = options.ledger.where;
  if (!ledger.empty() && ledger != "none")
    throw Error(Fault::usage, "--ledger " + ledger + " with --replay-dialogue " + dialogue +
                                  ": no pack is inspected now, so a replay goes into no ledger");
  wanted.ledger.clear();
  wanted.note = std::string(session::kReplayed) + (wanted.note.empty() ? "" : "; " + wanted.note);
  std::fprintf(stderr, "%s: a replay is not kept in any ledger.\n", dialogue.c_str());
}

session::Inspection wanted_by(const InspectOptions& options) {
  session::Inspection out;
  out.profile_file = find_profile(options.profile);
  out.serial = clean_text(options.serial);
  out.lot = clean_text(options.lot);
  out.note = clean_text(options.note);
  if (options.bench.replay_dialogue.empty())
    out.ledger = options.ledger.place();
  else
    keep_out_of_ledgers(options, out);
  out.only_static = options.only_static;
  using CutOff = session::Inspection::CutOff;
  out.cut_off = options.resume ? CutOff::go_on : options.anew ? CutOff::begin_anew : CutOff::refuse;
  return out;
}

int run(const InspectOptions& options, const Common& common) {
  auto profile = profile::load_profile(find_profile(options.profile));
  for (const std::string& path : {options.record, options.html, options.pdf, options.csv})
    check_writable(path);

  terminal::Progress progress;
  BenchOptions bench = options.bench;
  bench.console = progress.console(hand::open_terminal);
  session::Inspecting inspecting(wanted_by(options), std::move(profile), opener(bench));
  if (inspecting.bench().by_hand()) progress.silence();
  const auto done = inspecting.run({&progress}, {&progress});
  progress.clear();
  const report::Input input{&inspecting.profile(), &inspecting.record(), &done.judgement,
                            options.verbose};
  write_reports(options, input);
  std::fputs(report::render(common.json ? "json" : "text", input).c_str(), stdout);
  if (!common.json && inspecting.keeps()) std::printf("Record: %s\n", inspecting.id().c_str());
  if (!common.json && !options.html.empty()) std::printf("Report: %s\n", options.html.c_str());
  if (!done.told.empty()) std::fprintf(stderr, "%s\n", done.told.c_str());
  if (done.stopped) std::rethrow_exception(done.stopped);
  return inspection::exit_code(done.judgement, inspecting.record());
}
Run prepare(CLI::App& app) { return prepared(app, add_options, run); }

}  // namespace

const Command kInspect{.name = "inspect",
                       .description = "Inspect a pack on a bench and give a verdict",
                       .example =
                           "pinproof inspect --profile six-speed-20-pin --bench bench.json "
                           "--serial A17 --html A17.html",
                       .prepare = prepare};

}  // namespace pinproof::app
