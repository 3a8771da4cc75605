// pinproof bench: find instruments, check them, watch them, and say what they
// cannot see.
#include <CLI/CLI.hpp>
#include <cmath>
#include <cstdio>
#include <nlohmann/json.hpp>
#include <set>

#include "app/command.h"
#include "app/find_instruments.h"
#include "app/open_bench.h"
#include "app/stop.h"
#include "app/values.h"
#include "inspection/checks/check.h"
#include "inspection/run/run.h"
#include "inspection/sight/sight.h"
#include "profile/load.h"
#include "quantity/document.h"
#include "quantity/error.h"
#include "quantity/text.h"
#include "record/ledger.h"

namespace pinproof::app {
namespace {

using Json = nlohmann::ordered_json;

struct BenchFileOptions {
  BenchOptions bench;
  std::vector<std::string> addresses;
  std::string write, profile, log;
  bool find = false, check = false, live = false;
  int count = 0;
};

void add_options(CLI::App& app, BenchFileOptions& options) {
  app.add_flag("--find", options.find,
               "Look for instruments on serial ports and USB, and at each --address");
  app.add_option("--address", options.addresses,
                 "A place to look too, \"tcp://192.0.2.7:5025\"; may be repeated");
  takes_file(app.add_option("--write", options.write, "With --find: propose a bench file here"));
  options.bench.add(app, false);
  app.add_flag("--check", options.check,
               "Self-check: leads shorted, reference resistor, leads open, relays");
  takes_file(app.add_option("--log", options.log,
                            "With --check: add a line to this CSV file, for every day"));
  app.add_flag("--live", options.live, "Show the meter's readings until Ctrl-C");
  app.add_option("--count", options.count, "With --live: stop after so many readings")
      ->check(CLI::Range(1, 1000000));
  takes_profile(app.add_option("--profile", options.profile,
                               "Say which faults of this pack the bench cannot see"));
}

// A connector with the fixture's columns, for a check without a pack.
profile::Profile bare_profile(const bench::Description& bench) {
  profile::Profile out;
  out.name = "no pack";
  const std::set<std::string_view> own{profile::kCase, bench::kReferencePlus,
                                       bench::kReferenceMinus, bench::kHighReferencePlus,
                                       bench::kHighReferenceMinus};
  for (const auto& [node, column] : bench.fixture.columns)
    if (!own.contains(node)) out.connector.pins.push_back({node, "", ""});
  return out;
}

// One line a check: the control chart of the daily reference reading grows here.
void add_to_log(const std::string& log, const bench::Description& bench,
                const inspection::Judgement& judgement) {
  const bool fresh = ::access(log.c_str(), F_OK) != 0;
  const std::unique_ptr<std::FILE, int (*)(std::FILE*)> file(std::fopen(log.c_str(), "ae"),
                                                             &std::fclose);
  if (!file) throw Error(Fault::usage, log + ": cannot write");
  if (fresh) std::fprintf(file.get(), "at_utc,bench,check,outcome,value_ohm,U_ohm\n");
  for (const auto& r : judgement.results) {
    std::string name = bench.name;
    for (char& c : name)
      if (c == '"' || c == '\n') c = ' ';
    std::fprintf(file.get(), "%s,\"%s\",\"%s\",%s,%s,%s\n", record::utc_text().c_str(),
                 name.c_str(), r.title.c_str(), std::string(name_of(r.outcome)).c_str(),
                 r.value ? exact(r.value->value).c_str() : "",
                 r.value ? exact(2 * r.value->u).c_str() : "");
  }
}

int check(OpenBench& opened, const std::string& log, bool json) {
  const auto& bench = opened.description();
  const auto profile = bare_profile(bench);
  record::Record record;
  record.header = opened.header(profile);
  inspection::RunOptions run = opened.run_options(profile);
  run.only_bench = true;
  inspection::run_inspection(run, record);
  inspection::Judgement judgement;
  const inspection::Evidence evidence(profile, record);
  inspection::kBenchCheck.judge(evidence, judgement);
  bool good = true;
  Json out = Json::array();
  for (const auto& r : judgement.results) {
    const std::string outcome(name_of(r.outcome));
    good = good && (r.outcome == inspection::Outcome::pass || !r.required);
    out.push_back({{"check", r.title}, {"outcome", outcome}, {"text", r.text}});
    if (!json) std::printf("  %-12s %s: %s\n", outcome.c_str(), r.title.c_str(), r.text.c_str());
  }
  if (json)
    std::printf("%s\n",
                Json{{"bench", bench.name}, {"good", good}, {"results", out}}.dump(2).c_str());
  else
    std::printf("%s\n",
                good ? "The bench is in order." : "The bench is NOT in order: no verdict on it.");
  if (!log.empty()) add_to_log(log, bench, judgement);
  return good ? 0 : exit_code(Fault::bench);
}

// Smallest range that shows the value, from where the last one was.
bench::ShownOhms autoranged(bench::Meter& meter, const metrology::AccuracyTable& table,
                            bool four_wire, double& last_ohm) {
  const std::string function = four_wire ? "ohm-4w" : "ohm-2w";
  const bench::Patience patience(Duration{10}, stop_token());
  auto range = metrology::pick_range(table, function, last_ohm);
  bench::ShownOhms shown;
  for (int i = 0; i < 12 && range; ++i) {
    shown = meter.ohms(four_wire, Resistance{*range}, patience);
    if (!shown.overload) break;
    const auto wider = metrology::pick_range(table, function, *range * 2);
    if (!wider || *wider <= *range) break;
    range = wider;
  }
  last_ohm = shown.overload ? 1 : std::abs(shown.value.si());
  return shown;
}

// Until it is stopped where `count` is 0.
int live(OpenBench& opened, int count, bool json) {
  auto& instruments = opened.instruments();
  if (!instruments.meter) throw Error(Fault::usage, "this bench has no meter");
  const auto& table = opened.description().find("meter")->accuracy;
  const bool four_wire = instruments.meter->can_four_wire();
  const bool terminal = ::isatty(STDOUT_FILENO) == 1;
  double last_ohm = 1;
  for (int i = 0; count == 0 || i < count; ++i) {
    const bench::ShownOhms shown = autoranged(*instruments.meter, table, four_wire, last_ohm);
    const double ohm = shown.value.si();
    const auto u = metrology::standard_uncertainty(table, shown.function, shown.range.si(), ohm);
    if (json) {
      Json line{{"overload", shown.overload}};
      if (!shown.overload) {
        line["resistance_ohm"] = ohm;
        line["u_ohm"] = u.value_or(0);
      }
      std::printf("%s\n", line.dump().c_str());
    } else {
      const std::string text =
          shown.overload ? "open" : format_estimate({ohm, u.value_or(0)}, Unit::ohm);
      std::printf(terminal ? "\r\033[K%s, %s" : "%s, %s\n", text.c_str(),
                  four_wire ? "four-wire" : "two-wire");
    }
    std::fflush(stdout);
    if (stop_token().stop_requested()) break;
  }
  if (terminal && !json) std::printf("\n");
  return 0;
}

int tell_unseen(OpenBench& opened, const std::string& profile_name, bool json) {
  const auto profile = profile::load_profile(find_profile(profile_name));
  const auto& bench = opened.description();
  auto can = inspection::capabilities_of(bench, opened.instruments());
  can.lever = bench.find("actuator") != nullptr;  // a person's is not opened here
  const auto* meter = bench.find("meter");
  if (!meter) throw Error(Fault::usage, "this bench has no meter: it sees nothing");
  const auto list =
      inspection::unseen(profile, can, meter->accuracy, opened.instruments().meter->can_four_wire(),
                         bench.fixture.contact_u_ohm);
  Json out = Json::array();
  if (!json) std::printf("What this bench cannot see of \"%s\":\n", profile.name.c_str());
  for (const auto& one : list) {
    out.push_back({{"fault", one.fault}, {"why", one.why}, {"would_see_it", one.remedy}});
    if (!json)
      std::printf("  - %s:\n      %s.\n      Would see it: %s.\n", one.fault.c_str(),
                  one.why.c_str(), one.remedy.c_str());
  }
  if (json) std::printf("%s\n", Json{{"unseen", out}}.dump(2).c_str());
  return 0;
}

int run(const BenchFileOptions& options, const Common& common) {
  const std::string dialects =
      options.bench.dialects.empty() ? dialect_folder() : options.bench.dialects;
  if (options.find || !options.addresses.empty())
    return find_instruments({options.addresses, dialects, options.write, common.json});
  if (options.bench.bench.empty())
    throw Error(Fault::usage, "--find, or --bench with --check, --live or --profile is wanted");
  const bool measures = options.check || options.live || options.profile.empty();
  BenchOptions wanted = options.bench;
  wanted.hands = false;  // no pack to move anything of
  OpenBench opened(wanted, nullptr, measures);
  int code = 0;
  if (options.check || (!options.live && options.profile.empty()))
    code = check(opened, options.log, common.json);
  if (options.live) live(opened, options.count, common.json);
  if (!options.profile.empty()) tell_unseen(opened, options.profile, common.json);
  return code;
}

Run prepare(CLI::App& app) { return prepared(app, add_options, run); }

}  // namespace

const Command kBench{.name = "bench",
                     .description = "Find the bench's instruments, check them, watch them",
                     .example =
                         "pinproof bench --find --write bench.json\n"
                         "  pinproof bench --bench bench.json --check --log daily.csv",
                     .prepare = prepare};

}  // namespace pinproof::app
