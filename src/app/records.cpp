// pinproof records: find, show, compare, keep and move what was inspected.
#include "app/records.h"

#include <CLI/CLI.hpp>
#include <array>

#include "app/command.h"
#include "profile/load.h"
#include "quantity/document.h"
#include "quantity/error.h"

namespace pinproof::app {
namespace {

// The one table of what can be done with records.
constexpr std::array kDeeds{
    &kFindRecords, &kShowRecord, &kCompareRecords, &kExportRecords, &kImportRecords, &kRejudge,
    &kOverride,    &kLabel,      &kVerify,         &kBackUp,        &kSend};

struct ChosenDeed {
  RecordsOptions options;
  const Deed* deed = nullptr;
};

Run prepare(CLI::App& app) {
  const auto asked = std::make_shared<ChosenDeed>();
  asked->options.ledger.add(app);
  app.require_subcommand(1);
  for (const Deed* deed : kDeeds) {
    CLI::App* sub = app.add_subcommand(std::string(deed->name), std::string(deed->description));
    sub->footer(example_text(deed->example));
    sub->fallthrough();  // --ledger and --json may stand behind
    deed->options(*sub, asked->options);
    sub->callback([deed, asked] { asked->deed = deed; });
  }
  return [asked](const Common& common) { return asked->deed->run(asked->options, common); };
}

}  // namespace

void add_search(CLI::App& app, RecordsOptions& o) {
  app.add_option("--serial", o.search.serial, "Serial number");
  app.add_option("--lot", o.search.lot, "Lot or delivery");
  app.add_option("--verdict", o.search.verdict, "Verdict of the measurement")
      ->check(CLI::IsMember({"accept", "reject", "hold"}));
  app.add_option("--finding", o.search.finding, "Kind of finding, \"shorted-turns\"");
  app.add_option("--pack", o.search.profile, "Name of the profile");
  app.add_option("--bench-name", o.search.bench, "Name of the bench");
  app.add_option("--from", o.search.from, "Began on this day or later, 2026-11-02 (UTC)");
  app.add_option("--to", o.search.to, "Began on this day or earlier");
  app.add_flag("--unfinished", o.search.open_only, "Only what was cut off or still runs");
}

profile::Profile profile_of(const record::Ledger& ledger, const record::Attempt& attempt,
                            const std::string& named) {
  if (!named.empty()) return profile::load_profile(find_profile(named));
  const auto judged = ledger.judgements(attempt.id);
  const std::string hash = judged.empty() ? attempt.profile_hash : judged.back().profile_hash;
  const std::string json = ledger.profile_json(hash);
  if (json.empty())
    throw Error(Fault::usage, "record " + attempt.id + ": the ledger does not hold the profile \"" +
                                  attempt.profile_name + "\" of that time: say --profile");
  return profile::parse_profile(json, "profile of " + attempt.id);
}

const Command kRecords{
    .name = "records",
    .description = "Find, show, compare, export, judge again and verify what was inspected",
    .example =
        "pinproof records find --lot 2026-W48 --verdict reject\n"
        "  pinproof records show 01M8BXY2AD --html A17.html",
    .prepare = prepare};

}  // namespace pinproof::app
