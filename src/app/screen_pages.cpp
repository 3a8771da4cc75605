// Pages to read beside the live one: records, lots, two records side by side, the pack's chart.
#include <algorithm>

#include "app/command.h"
#include "app/records.h"
#include "app/screen_works.h"
#include "inspection/judge.h"
#include "inspection/lot_study.h"
#include "profile/load.h"
#include "quantity/error.h"
#include "report/formats.h"
#include "report/label.h"
#include "report/lot.h"
#include "report/bench_card.h"
#include "report/pages.h"
#include "report/records.h"

namespace pinproof::app {
namespace {

using screen::Reply;
using screen::Request;

constexpr std::size_t kNewest = 200;  // records in a list

Reply html(std::string body) {
  Reply out;
  out.type = "text/html; charset=utf-8";
  out.body = std::move(body);
  return out;
}

std::string report_page(const record::Ledger& ledger, const std::string& id) {
  const auto attempt = ledger.attempt(id);
  const auto profile = profile_of(ledger, attempt, "");
  const auto record = ledger.load(attempt.id);
  const auto judgement = inspection::judge(profile, record);
  return report::render("html", {&profile, &record, &judgement, false});
}

Reply label_page(const record::Ledger& ledger, const std::string& id) {
  const auto attempt = ledger.attempt(id);
  Reply out;
  out.type = "image/svg+xml";
  out.body = report::label_svg(label_case(attempt));
  return out;
}

std::string compare_page(const record::Ledger& ledger, const Request& request) {
  const auto judged = [&](const record::Attempt& attempt) {
    return inspection::judge(profile_of(ledger, attempt, ""), ledger.load(attempt.id));
  };
  const auto first = ledger.attempt(request.asked("first"));
  const auto second = ledger.attempt(request.asked("second"));
  return report::compare_html(report::compare(first, judged(first), second, judged(second)));
}

record::Search search_of(const Request& request) {
  record::Search out;
  out.serial = request.asked("serial"), out.lot = request.asked("lot");
  out.verdict = request.asked("verdict"), out.finding = request.asked("finding");
  out.at_most = kNewest;
  return out;
}

std::string lot_page(record::Ledger& ledger, const Request& request) {
  inspection::LotAsked asked;
  asked.lot = request.asked("name");
  return report::lot_html(inspection::study_lot(ledger, asked), report::LotLinks::records);
}

std::string card_page(const std::vector<std::string>& offered, const std::string& name) {
  if (std::find(offered.begin(), offered.end(), name) == offered.end())
    throw Error(Fault::usage, "no profile of this name is offered here");
  return report::bench_card_html(profile::load_profile(find_profile(name)));
}

}  // namespace

std::optional<Reply> record_page(const LedgerOptions& options,
                                 const std::vector<std::string>& profiles, const Request& request) {
  const std::string& path = request.path;
  constexpr std::string_view kReport = "/report/", kLabel = "/label/";
  if (path == "/card") return html(card_page(profiles, request.asked("profile")));
  const bool known = path == "/lots" || path == "/records" || path == "/lot" ||
                     path == "/compare" || path.starts_with(kReport) || path.starts_with(kLabel);
  if (!known) return std::nullopt;
  const auto ledger = open_to_read(options);
  if (path.starts_with(kReport)) return html(report_page(*ledger, path.substr(kReport.size())));
  if (path.starts_with(kLabel)) return label_page(*ledger, path.substr(kLabel.size()));
  if (path == "/compare") return html(compare_page(*ledger, request));
  if (path == "/lot") return html(lot_page(*ledger, request));
  return html(lots_page_of(*ledger, search_of(request)));
}

}  // namespace pinproof::app
