// pinproof records find, show, compare.
#include <CLI/CLI.hpp>
#include <cstdio>

#include "app/command.h"
#include "app/records.h"
#include "app/values.h"
#include "inspection/judge/judge.h"
#include "inspection/judge/judged.h"
#include "quantity/file.h"
#include "report/formats.h"
#include "report/records.h"

namespace pinproof::app {
namespace {

void find_options(CLI::App& app, RecordsOptions& o) {
  add_search(app, o);
  app.add_option("--last", o.search.at_most, "Only the newest so many");
}

int find(const RecordsOptions& o, const Common& common) {
  const auto found = open_to_read(o.ledger)->find(o.search);
  const std::string text = common.json ? report::records_json(found) : report::records_text(found);
  std::fwrite(text.data(), 1, text.size(), stdout);
  return 0;
}

void show_options(CLI::App& app, RecordsOptions& o) {
  app.add_option("record", o.names, "Its id, or the beginning of it")->required()->expected(1);
  takes_profile(
      app.add_option("--profile", o.profile, "Judge by this profile instead, for this look only"));
  takes_file(app.add_option("--html", o.html, "Write the report to this HTML file"));
  takes_file(app.add_option("--csv", o.csv, "Write the readings to this CSV file"));
  app.add_flag("--verbose", o.verbose, "Print every check, not only those that need a look");
}

int show(const RecordsOptions& o, const Common& common) {
  const auto ledger = open_to_read(o.ledger);
  const auto attempt = ledger->attempt(o.names.front());
  const auto profile = profile_of(*ledger, attempt, o.profile);
  const auto record = ledger->load(attempt.id);
  const auto judgement = inspection::decided(inspection::judge(profile, record), attempt);
  const report::Input input{&profile, &record, &judgement, o.verbose};
  if (!o.html.empty()) write_file(o.html, report::render("html", input));
  if (!o.csv.empty()) write_file(o.csv, report::render("csv", input));
  std::fputs(report::render(common.json ? "json" : "text", input).c_str(), stdout);
  if (common.json) return inspection::exit_code(judgement, record);
  std::fputs(report::history_text(*ledger, attempt).c_str(), stdout);
  std::printf("Record: %s\n", attempt.id.c_str());
  return inspection::exit_code(judgement, record);
}

void compare_options(CLI::App& app, RecordsOptions& o) {
  app.add_option("records", o.names, "Two ids: before and after")->required()->expected(2);
  takes_profile(app.add_option("--profile", o.profile, "Judge both by this profile"));
  app.add_flag("--all", o.all, "What did not change too");
}

int compare(const RecordsOptions& o, const Common& common) {
  const auto ledger = open_to_read(o.ledger);
  const auto judged = [&](const record::Attempt& attempt) {
    return inspection::judge(profile_of(*ledger, attempt, o.profile), ledger->load(attempt.id));
  };
  const auto first = ledger->attempt(o.names[0]), second = ledger->attempt(o.names[1]);
  const auto both = report::compare(first, judged(first), second, judged(second));
  std::fputs(
      (common.json ? report::comparison_json(both) : report::comparison_text(both, o.all)).c_str(),
      stdout);
  return 0;
}

}  // namespace

const Deed kFindRecords{"find", "List records: by serial, lot, date, verdict, finding",
                        "pinproof records find --lot 2026-W48 --verdict reject", find_options,
                        find};
const Deed kShowRecord{"show", "The whole report of one record, and what became of it",
                       "pinproof records show 01M8BXY2AD --html A17.html", show_options, show};
const Deed kCompareRecords{"compare", "Two records side by side: before and after a cleaning",
                           "pinproof records compare 01M8BXY2AD 01M8C04QZJ --all", compare_options,
                           compare};

}  // namespace pinproof::app
