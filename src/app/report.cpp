// pinproof report: judge a stored record again and print or write its report.
#include <CLI/CLI.hpp>
#include <cstdio>

#include "app/command.h"
#include "app/pdf.h"
#include "app/values.h"
#include "inspection/judge/judge.h"
#include "profile/load.h"
#include "quantity/file.h"
#include "record/json.h"
#include "report/formats.h"

namespace pinproof::app {
namespace {

constexpr std::size_t kLargestRecord = std::size_t{256} << 20;

struct ReportOptions {
  std::string profile, record, html, csv, pdf;
  bool verbose = false;
};

void add_options(CLI::App& app, ReportOptions& options) {
  takes_file(app.add_option("record", options.record, "Record file written by inspect --record"))
      ->required();
  takes_profile(app.add_option("--profile", options.profile, "Profile to judge by"))->required();
  takes_file(app.add_option("--html", options.html, "Write the report to this HTML file"));
  takes_file(app.add_option("--pdf", options.pdf,
                            "Write the report to this PDF file, printed by an installed browser"));
  takes_file(app.add_option("--csv", options.csv, "Write the readings to this CSV file"));
  app.add_flag("--verbose", options.verbose, "Print every check, not only those that need a look");
}

int run(const ReportOptions& options, const Common& common) {
  const auto profile = profile::load_profile(find_profile(options.profile));
  const auto record = record::from_json(read_file(options.record, kLargestRecord), options.record);
  const auto judgement = inspection::judge(profile, record);
  const report::Input input{&profile, &record, &judgement, options.verbose};
  if (!options.html.empty()) write_file(options.html, report::render("html", input));
  if (!options.pdf.empty()) write_pdf(report::render("html", input), options.pdf);
  if (!options.csv.empty()) write_file(options.csv, report::render("csv", input));
  std::fputs(report::render(common.json ? "json" : "text", input).c_str(), stdout);
  return inspection::exit_code(judgement, record);
}

Run prepare(CLI::App& app) { return prepared(app, add_options, run); }

}  // namespace

const Command kReport{
    .name = "report",
    .description = "Judge a stored record again and report it",
    .example = "pinproof report A17.json --profile six-speed-20-pin --pdf A17.pdf",
    .prepare = prepare};

}  // namespace pinproof::app
