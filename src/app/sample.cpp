// pinproof sample: how many of a box to test, and what that proves.
#include "report/sample.h"

#include <CLI/CLI.hpp>
#include <cstdio>

#include "app/command.h"
#include "app/values.h"
#include "quantity/error.h"
#include "quantity/file.h"

namespace pinproof::app {
namespace {

using metrology::Switching;

struct SampleOptions {
  std::size_t lot = 0;
  std::string level = "II", history, html;
  double AQL = 1.0;
  std::optional<std::size_t> bad;
};

void add_options(CLI::App& app, SampleOptions& options) {
  app.add_option("--lot-size", options.lot, "Parts in the lot")
      ->required()
      ->check(CLI::Range(std::size_t{2}, std::size_t{100000000}));
  app.add_option("--level", options.level, "Inspection level of ISO 2859-1")
      ->check(CLI::IsMember({"S-1", "S-2", "S-3", "S-4", "I", "II", "III"}))
      ->capture_default_str();
  app.add_option("--aql", options.AQL, "Acceptance quality limit in percent")
      ->check(CLI::IsMember({0.65, 1.0, 1.5, 2.5, 4.0}))
      ->capture_default_str();
  app.add_option("--history", options.history,
                 "Earlier lots of this supplier, oldest first: a accepted, r rejected, as in "
                 "\"aaraa\"; the switching rules follow from it");
  app.add_option("--bad", options.bad, "Bad ones found in the sample: judges the lot");
  takes_file(
      app.add_option("--html", options.html, "Write the plan with its curve to this HTML file"));
}

metrology::SwitchingState state_after(const std::string& history) {
  metrology::Switching switching;
  for (const char c : history) {
    if (c != 'a' && c != 'r')
      throw Error(Fault::usage, "--history \"" + history + "\": only a and r are wanted");
    switching.add(c == 'a');
  }
  return switching.state();
}

int run(const SampleOptions& options, const Common& common) {
  report::SampleCase one;
  one.lot = options.lot;
  one.level = options.level;
  one.AQL = options.AQL;
  one.bad = options.bad;
  one.state = state_after(options.history);
  one.letter = *metrology::code_letter(options.lot, options.level);
  const auto severity = one.state == metrology::SwitchingState::normal
                            ? metrology::Severity::normal
                            : metrology::Severity::tightened;
  const auto plan = metrology::single_plan(one.letter, options.AQL, severity);
  if (!plan)
    throw Error(Fault::usage, "no plan for letter " + std::string(1, one.letter) + " at this AQL");
  one.plan = *plan;
  one.whole_lot = plan->n >= options.lot;
  if (one.whole_lot) one.plan.n = options.lot;
  if (one.bad && *one.bad > one.plan.n)
    throw Error(Fault::usage, "--bad " + std::to_string(*one.bad) + ": only " +
                                  std::to_string(one.plan.n) + " parts are tested");
  if (!options.html.empty()) write_file(options.html, report::sample_html(one));
  std::fputs((common.json ? report::sample_json(one) : report::sample_text(one)).c_str(), stdout);
  if (one.state == metrology::SwitchingState::discontinued) return 2;
  return one.accepted().value_or(true) ? 0 : 1;
}

Run prepare(CLI::App& app) { return prepared(app, add_options, run); }

}  // namespace

const Command kSample{.name = "sample",
                      .description =
                          "How many parts of a lot to test (ISO 2859-1), what that "
                          "proves, and the verdict on the lot",
                      .example = "pinproof sample --lot-size 100 --aql 1.0 --bad 0",
                      .prepare = prepare};

}  // namespace pinproof::app
