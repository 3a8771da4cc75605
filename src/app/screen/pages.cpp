// Pages to read beside the live one: records, lots, two records side by side, the pack's chart.
#include "report/pages.h"

#include <algorithm>

#include "app/command.h"
#include "app/ledgers.h"
#include "app/records.h"
#include "app/screen/works.h"
#include "inspection/judge/judge.h"
#include "inspection/judge/judged.h"
#include "lot/study.h"
#include "profile/load.h"
#include "quantity/error.h"
#include "report/bench_card.h"
#include "report/compare_html.h"
#include "report/formats.h"
#include "report/label.h"
#include "report/lot.h"
#include "report/records.h"

namespace pinproof::app {
namespace {

using screen::Reply;
using screen::Request;

constexpr std::string_view kReports = "/report/", kLabels = "/label/";
constexpr std::size_t kNewest = 200;   // records in a list
constexpr std::size_t kOfLots = 5000;  // newest records of which the lots are listed

Reply html(std::string body) {
  Reply out;
  out.type = "text/html; charset=utf-8";
  out.body = std::move(body);
  return out;
}

std::string report_of(const record::Ledger& ledger, const std::string& id) {
  const auto attempt = ledger.attempt(id);
  const auto profile = profile_of(ledger, attempt, "");
  const auto record = ledger.load(attempt.id);
  const auto judgement = inspection::decided(inspection::judge(profile, record), attempt);
  return report::report_page({&profile, &record, &judgement, false}, attempt);
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
  const std::string one = request.asked("first"), other = request.asked("second");
  if (one.empty() || other.empty())
    return report::plain_page("Compare", "Choose two records: one in each column.");
  const auto first = ledger.attempt(one), second = ledger.attempt(other);
  const auto before = judged(first), after = judged(second);
  return report::compare_html(report::compare(first, before, second, after), &before, &after);
}

record::LedgerQuery search_of(const Request& request) {
  record::LedgerQuery out;
  out.serial = request.asked("serial");
  out.lot = request.asked("lot");
  out.verdict = request.asked("verdict");
  out.finding = request.asked("finding");
  out.at_most = kNewest;
  return out;
}

std::string list_page(const record::Ledger& ledger, const Request& request) {
  const auto search = search_of(request);
  if (request.path == "/records") return report::records_page(ledger.find(search), search);
  record::LedgerQuery recent;
  recent.at_most = kOfLots;
  const auto found = ledger.find(recent);
  const auto newest = std::min(found.size(), kNewest);
  return report::lots_page(report::lot_lines(found),
                           {found.end() - static_cast<std::ptrdiff_t>(newest), found.end()}, {});
}

std::string lot_page(record::Ledger& ledger, const Request& request) {
  lot::LotAsked asked;
  asked.lot = request.asked("name");
  const auto study = lot::study_lot(ledger, asked);
  return report::lot_html(study, report::lot_links(study, ledger));
}

std::string card_page(const std::vector<std::string>& offered, const std::string& name) {
  if (std::find(offered.begin(), offered.end(), name) == offered.end())
    throw Error(Fault::usage, "no profile of this name is offered here");
  return report::bench_card_html(profile::load_profile(find_profile(name)));
}

Reply page_of(record::Ledger& ledger, const Request& request) {
  const std::string& path = request.path;
  if (path.starts_with(kReports)) return html(report_of(ledger, path.substr(kReports.size())));
  if (path.starts_with(kLabels)) return label_page(ledger, path.substr(kLabels.size()));
  if (path == "/compare") return html(compare_page(ledger, request));
  if (path == "/lot") return html(lot_page(ledger, request));
  return html(list_page(ledger, request));
}

}  // namespace

std::optional<Reply> record_page(const LedgerOptions& options,
                                 const std::vector<std::string>& profiles, const Request& request) {
  const std::string& path = request.path;
  if (path == "/card") return html(card_page(profiles, request.asked("profile")));
  const bool known = path == "/lots" || path == "/records" || path == "/lot" ||
                     path == "/compare" || path.starts_with(kReports) || path.starts_with(kLabels);
  if (!known) return std::nullopt;
  if (options.place().empty())
    return html(report::plain_page("No records", "This screen keeps no ledger."));
  std::unique_ptr<record::Ledger> ledger;
  try {
    ledger = open_to_read(options);
  } catch (const Error& e) {
    Reply out = html(report::plain_page("No records to show", e.what()));
    out.status = 503;
    return out;
  }
  try {
    return page_of(*ledger, request);
  } catch (const Error& e) {
    Reply out = html(report::plain_page("Nothing here", e.what()));
    out.status = e.fault() == Fault::usage ? 404 : 503;
    return out;
  }
}

}  // namespace pinproof::app
