// pinproof lot: judge a whole delivery.
#include "report/lot.h"

#include <CLI/CLI.hpp>
#include <cstdio>

#include "app/command.h"
#include "app/ledgers.h"
#include "app/values.h"
#include "lot/study.h"
#include "quantity/error.h"
#include "quantity/file.h"

namespace pinproof::app {
namespace {

struct LotOptions {
  LedgerOptions ledger;
  lot::LotAsked asked;
  std::string html, hold_by;
  bool all = false;
};

void add_options(CLI::App& app, LotOptions& options) {
  app.add_option("lot", options.asked.lot, "Name of the lot, as given to inspect")->required();
  options.ledger.add(app);
  app.add_option("--confidence", options.asked.confidence, "Of intervals and bounds")
      ->check(CLI::Range(0.5, 0.9999))
      ->capture_default_str();
  app.add_option("--alpha", options.asked.alpha,
                 "Chance that a test calls any pack of a good lot unusual")
      ->check(CLI::Range(0.0001, 0.5))
      ->capture_default_str();
  takes_file(
      app.add_option("--html", options.html, "Write the lot with its plots to this HTML file"));
  app.add_flag("--all", options.all, "Every figure, not only those worth a word");
  app.add_option("--hold-by", options.hold_by,
                 "Your name: put every accepted pack that stands out on hold in the ledger");
}

void hold(record::Ledger& ledger, const lot::LotStudy& study, const std::string& by) {
  for (const auto& o : study.outliers) {
    if (!o.hold) continue;
    std::string why = "stands out in lot " + study.lot;
    for (const auto& reason : o.reasons) why += "; " + reason;
    ledger.override_verdict(o.attempt.id, {"hold", by, why + ".", ""});
  }
}

int run(const LotOptions& options, const Common& common) {
  const auto ledger = open_to_read(options.ledger);
  const auto study = lot::study_lot(*ledger, options.asked);
  if (!options.html.empty()) write_file(options.html, report::lot_html(study));
  if (!options.hold_by.empty()) hold(*ledger, study, options.hold_by);
  std::fputs((common.json ? report::lot_json(study) : report::lot_text(study, options.all)).c_str(),
             stdout);
  if (study.counts.rejects > 0) return 1;
  return report::held(study) + study.counts.holds + study.counts.unjudged > 0 ? 2 : 0;
}

Run prepare(CLI::App& app) { return prepared(app, add_options, run); }

}  // namespace

const Command kLot{.name = "lot",
                   .description =
                       "Judge a whole lot: yield, capability, drift, and packs that stand out "
                       "though they are within limits",
                   .example = "pinproof lot 2026-W48 --html lot.html",
                   .prepare = prepare};

}  // namespace pinproof::app
