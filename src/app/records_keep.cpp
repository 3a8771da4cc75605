// pinproof records rejudge, override, verify, label.
#include <CLI/CLI.hpp>
#include <cstdio>
#include <map>
#include <nlohmann/json.hpp>

#include "app/command.h"
#include "app/records.h"
#include "app/values.h"
#include "inspection/judge/judge.h"
#include "inspection/judge/judged.h"
#include "profile/load.h"
#include "quantity/error.h"
#include "quantity/file.h"
#include "quantity/lines.h"
#include "quantity/text.h"
#include "quantity/version.h"
#include "report/label.h"
#include "report/records.h"
#include "terminal/bar.h"

namespace pinproof::app {
namespace {

using Json = nlohmann::ordered_json;
constexpr std::size_t kLargestProfile = std::size_t{16} << 20;

void rejudge_options(CLI::App& app, RecordsOptions& o) {
  add_search(app, o);
  app.add_option("--id", o.search.id, "Only this record");
  takes_profile(app.add_option("--profile", o.profile, "Profile with the new limits"))->required();
}

int rejudge(const RecordsOptions& o, const Common& common) {
  const std::string path = find_profile(o.profile);
  const std::string json = read_file(path, kLargestProfile);
  const auto profile = profile::parse_profile(json, path);
  const auto ledger = open_to_read(o.ledger);
  std::map<std::string, int> moves;
  Json changed = Json::array();
  std::size_t judged = 0, looked_at = 0;
  const auto found = ledger->find(o.search);
  std::optional<terminal::Bar> bar(std::in_place, "Records judged", found.size());
  for (const auto& attempt : found) {
    bar->at(looked_at++);
    if (!attempt.closed || attempt.profile_name != profile.name) continue;
    const auto record = ledger->load(attempt.id);
    const auto now =
        inspection::judged_of(inspection::judge(profile, record), profile.hash, version_text());
    ledger->keep_profile(profile.name, json);
    ledger->judge_again(attempt.id, now);
    ++judged;
    ++moves[attempt.verdict + " -> " + now.verdict];
    if (attempt.verdict != now.verdict)
      changed.push_back({{"id", attempt.id},
                         {"serial", attempt.serial},
                         {"before", attempt.verdict},
                         {"now", now.verdict}});
  }
  bar.reset();
  if (common.json) {
    std::printf("%s\n", Json{{"judged", judged}, {"changed", changed}}
                            .dump(2, ' ', false, Json::error_handler_t::replace)
                            .c_str());
    return 0;
  }
  for (const auto& [move, n] : moves) std::printf("%6d  %s\n", n, move.c_str());
  for (const auto& one : changed)
    std::printf("  ! %s %s: %s -> %s\n", shortened(one["serial"].get<std::string>(), 40).c_str(),
                one["id"].get<std::string>().c_str(), one["before"].get<std::string>().c_str(),
                one["now"].get<std::string>().c_str());
  std::printf("%zu record(s) of \"%s\" judged again; the earlier judgements stay.\n", judged,
              profile.name.c_str());
  return 0;
}

void override_options(CLI::App& app, RecordsOptions& o) {
  app.add_option("record", o.names, "Its id, or the beginning of it")->required()->expected(1);
  app.add_option("--verdict", o.verdict, "What you decide")
      ->required()
      ->check(CLI::IsMember({"accept", "reject", "hold"}));
  app.add_option("--by", o.by, "Who decides")->required();
  app.add_option("--why", o.why, "Why")->required();
}

int override_verdict(const RecordsOptions& o, const Common& common) {
  if (o.by.empty() || o.why.empty())
    throw Error(Fault::usage, "--by and --why: a decision needs a name and a reason");
  const auto ledger = open_to_read(o.ledger);
  auto attempt = ledger->attempt(o.names.front());
  if (!attempt.closed) throw Error(Fault::usage, "record " + attempt.id + " is not finished");
  ledger->override_verdict(attempt.id, {o.verdict, o.by, o.why, ""});
  attempt = ledger->attempt(attempt.id);
  if (common.json)
    std::fputs(report::records_json({attempt}).c_str(), stdout);
  else
    std::printf("%s %s: %s by %s. The verdict of the measurement stays: %s (level %s).\n",
                shortened(attempt.serial).c_str(), attempt.id.c_str(), o.verdict.c_str(),
                shortened(o.by).c_str(), attempt.verdict.c_str(), attempt.level.c_str());
  return 0;
}

void verify_options(CLI::App& app, RecordsOptions& o) {
  app.add_option("--head", o.head, "A head that was written down earlier: it must be there");
}

record::Verified verified_with_bar(const record::Ledger& ledger, const std::string& head) {
  std::optional<terminal::Bar> bar;
  return ledger.verify(head, [&](std::size_t done, std::size_t of) {
    if (!bar) bar.emplace("Records verified", of);
    bar->at(done);
  });
}

int verify(const RecordsOptions& o, const Common& common) {
  const auto verified = verified_with_bar(*open_to_read(o.ledger), o.head);
  std::fputs(
      (common.json ? report::verified_json(verified) : report::verified_text(verified)).c_str(),
      stdout);
  return verified.problems.empty() ? 0 : 1;
}

// "62x29"
report::LabelSize size_of(const std::string& text) {
  const std::size_t cross = text.find('x');
  const auto wide = parse_number(text.substr(0, cross));
  const auto high =
      cross == std::string::npos ? std::nullopt : parse_number(text.substr(cross + 1));
  if (!wide || !high)
    throw Error(Fault::usage, "--size \"" + text + "\": width x height in mm, \"62x29\"");
  return {*wide, *high};
}

void label_options(CLI::App& app, RecordsOptions& o) {
  app.add_option("record", o.names, "Its id, or the beginning of it")->required()->expected(1);
  app.add_option("--size", o.size, "Width and height in mm")->capture_default_str();
  takes_file(app.add_option("--svg", o.svg, "Write the label to this SVG file"));
  takes_file(app.add_option("--pdf", o.pdf, "Write the label to this PDF file"));
}

int label(const RecordsOptions& o, const Common&) {
  const auto ledger = open_to_read(o.ledger);
  const auto a = ledger->attempt(o.names.front());
  const report::LabelCase one = label_case(a);
  const report::LabelSize size = size_of(o.size);
  if (!o.svg.empty()) write_file(o.svg, report::label_svg(one, size));
  if (!o.pdf.empty()) write_file(o.pdf, report::label_pdf(one, size));
  std::fputs(report::label_text(one).c_str(), stdout);
  return 0;
}

inspection::Verdict verdict_named(const std::string& name) {
  return name == "accept"   ? inspection::Verdict::accept
         : name == "reject" ? inspection::Verdict::reject
                            : inspection::Verdict::hold;
}

}  // namespace

report::LabelCase label_case(const record::Attempt& a) {
  if (!a.closed) throw Error(Fault::usage, "record " + a.id + " is not finished: no label for it");
  report::LabelCase one;
  one.id = a.id;
  one.serial = a.serial;
  one.lot = a.lot;
  one.profile = a.profile_name;
  one.verdict = verdict_named(a.verdict);
  if (a.level == "full") one.level = inspection::Level::full;
  one.date = a.started_at.substr(0, 10);
  if (a.overridden) {
    one.overridden_by = a.overridden->by + ": " + a.overridden->verdict;
    one.decided = verdict_named(a.overridden->verdict);
  }
  return one;
}

const Deed kRejudge{"rejudge", "Judge stored readings again under a profile with other limits",
                    "pinproof records rejudge --profile six-speed-20-pin --lot 2026-W48",
                    rejudge_options, rejudge};
const Deed kOverride{"override", "Decide otherwise, with name and reason; the verdict stays",
                     "pinproof records override 01M8BXY2AD --verdict hold --by \"bench 2\" --why "
                     "\"connector cracked\"",
                     override_options, override_verdict};
const Deed kVerify{"verify", "Prove that nothing in the ledger was changed",
                   "pinproof records verify --ledger /media/backup/ledger.sqlite", verify_options,
                   verify};
const Deed kLabel{"label", "A label with the verdict and a QR code of the record",
                  "pinproof records label 01M8BXY2AD --size 62x29 --pdf A17-label.pdf",
                  label_options, label};

}  // namespace pinproof::app
