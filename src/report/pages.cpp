#include "report/pages.h"

#include <algorithm>
#include <map>

#include "lot/study.h"
#include "quantity/phrase.h"
#include "quantity/url.h"
#include "report/drawing.h"
#include "report/html.h"
#include "report/page.h"

namespace pinproof::report {
namespace {

using record::Attempt;

constexpr std::size_t kName = 60;

std::string minute_of(const std::string& started_at) {
  std::string out = started_at.substr(0, 16);
  if (out.size() > 10) out[10] = ' ';
  return out;
}

Markup link(const Url& to, const Markup& text) { return "<a" + href(to) + ">" + text + "</a>"; }

Markup lot_link(const std::string& lot) {
  return link("/lot?name=" + url_text(lot), shown(lot, kName));
}

// What counts, and beside it what was measured and what a person decided.
Markup verdict_cell(const Attempt& a) {
  if (!a.closed) return a.running ? "running"_html : "cut off"_html;
  const auto counts = lot::verdict_in_force(a);
  const bool complete = a.ended == "complete";
  // What broke off accepts nothing; that it rejected, or that somebody held it, counts.
  const bool told = complete || a.overridden || counts == "reject";
  Markup out = told ? state(counts) + " " + plain(a.level) : Markup();
  if (!complete) out += (told ? "<br/>"_html : ""_html) + plain(a.ended);
  if (a.overridden)
    out += "<br/><small>measured: " + plain(a.verdict) +
           "; decided: " + plain(a.overridden->verdict) + " by " + shown(a.overridden->by, 30) +
           "</small>";
  return out;
}

Markup radio(const char* name, const Attempt& a) {
  const std::string serial = a.serial.empty() ? "no serial" : a.serial;
  return "<td><input type=\"radio\" required" + attribute("name", name) + " value=\"" +
         plain(a.id) + "\" aria-label=\"" + plain(name) + ": " + plain(serial, kName) + ", " +
         plain(minute_of(a.started_at)) + "\"/></td>";
}

Markup record_rows(const std::vector<Attempt>& attempts) {
  Markup out;
  for (auto a = attempts.rbegin(); a != attempts.rend(); ++a)
    out += "<tr><th scope=\"row\">" +
           report_link(*a,
                       a->serial.empty() ? Markup("<em>no serial</em>") : shown(a->serial, kName)) +
           "</th><td>" + plain(minute_of(a->started_at)) + "</td><td>" +
           (a->lot.empty() ? Markup("–") : lot_link(a->lot)) + "</td><td>" + verdict_cell(*a) +
           "</td><td>" + shown(a->profile_name, kName) + "</td>" + radio("first", *a) +
           radio("second", *a) + "</tr>";
  return out;
}

// Newest first; two of them to compare.
Markup record_table(const std::vector<Attempt>& attempts, Literal caption) {
  if (attempts.empty()) return "<p>No record fits.</p>"_html;
  return "<form action=\"/compare\" method=\"get\">" + open_scroll("Records") + "<table><caption>" +
         caption +
         "</caption><thead><tr><th scope=\"col\">Serial</th><th scope=\"col\">Began (UTC)</th><th "
         "scope=\"col\">Lot</th><th scope=\"col\">Verdict</th><th scope=\"col\">Pack</th><th "
         "scope=\"col\">First</th><th scope=\"col\">Second</th></tr></thead><tbody>" +
         record_rows(attempts) +
         "</tbody></table></div><p><button type=\"submit\">Compare first with "
         "second</button></p></form>";
}

Markup field(Literal name, Literal title, const std::string& value) {
  return "<label>" + Markup(title) + "<input type=\"text\" name=\"" + name + "\"" +
         attribute("value", value) + " autocomplete=\"off\"/></label>";
}

Markup search_form(const record::LedgerQuery& search) {
  Markup out =
      "<form class=\"search\" role=\"search\" aria-label=\"Find records\" action=\"/records\" "
      "method=\"get\">" +
      field("serial", "Serial", search.serial) + field("lot", "Lot", search.lot) +
      "<label>Verdict<select name=\"verdict\"><option value=\"\">any</option>";
  for (const std::string word : {"accept", "reject", "hold"})
    out += "<option" + (search.verdict == word ? Markup(" selected") : Markup()) + ">" +
           plain(word) + "</option>";
  return out + "</select></label>" + field("finding", "Finding", search.finding) +
         "<button type=\"submit\">Find</button></form>\n";
}

Markup lot_rows(const std::vector<LotLine>& lots) {
  Markup out;
  for (const LotLine& lot : lots) {
    const auto number = [](std::size_t n) { return "<td>" + digits(n) + "</td>"; };
    out += "<tr><th scope=\"row\">" +
           (lot.name.empty() ? Markup("<em>no lot</em>") : lot_link(lot.name)) + "</th><td>" +
           shown(lot.pack, kName) + "</td>" + number(lot.packs) + number(lot.accepts) +
           number(lot.rejects) + number(lot.holds) + number(lot.no_verdict) + "<td>" +
           plain(minute_of(lot.newest)) + "</td></tr>";
  }
  return out;
}

Markup lot_table(const std::vector<LotLine>& lots) {
  if (lots.empty()) return "<p>The ledger holds no record yet.</p>"_html;
  return open_scroll("Lots") +
         "<table><caption>Packs by their last inspection, under whatever lot. Without driven "
         "coils it lifts no worse verdict of level full; of measurement and decision the worse "
         "counts; a "
         "retest that was broken off leaves no accept.</caption><thead><tr><th "
         "scope=\"col\">Lot</th><th scope=\"col\">Pack</th><th scope=\"col\">Packs</th><th "
         "scope=\"col\">✔ Accept</th><th scope=\"col\">✖ Reject</th><th scope=\"col\">▲ "
         "Hold</th><th scope=\"col\">No verdict</th><th scope=\"col\">Last "
         "(UTC)</th></tr></thead><tbody>" +
         lot_rows(lots) + "</tbody></table></div>\n";
}

Markup decision(const Attempt& a) {
  if (!a.overridden) return {};
  const auto& o = *a.overridden;
  return "<div class=\"caution\"><p><strong>Decided otherwise: " + plain(o.verdict) +
         "</strong> by " + shown(o.by, kName) + " at " + plain(o.at) + ": " + plain(o.why, 200) +
         " Of decision and measurement the worse counts; the figures stay as they were "
         "measured.</p></div>\n";
}

// One pack, whatever lots it was entered under: a mistyped lot makes no other pack of it.
struct PackInLots {
  lot::Standing standing;
  std::map<std::string, bool> lots;  // whether an attempt in this one or since came to its end
  void add(const Attempt& a) {
    standing.add(a);
    lots[a.lot];
    if (!a.closed || a.ended != "complete") return;
    for (auto& [lot, judged] : lots) judged = true;
  }
};

// An accept of another lot from before says nothing of an attempt here that is still open.
void count_pack(const lot::Standing& standing, bool judged, LotLine& lot) {
  std::string verdict = standing.any() ? standing.in_force().verdict : "";
  if (verdict == "accept" && !judged) verdict.clear();
  ++lot.packs;
  std::size_t& count = verdict == "accept"   ? lot.accepts
                       : verdict == "reject" ? lot.rejects
                       : verdict == "hold"   ? lot.holds
                                             : lot.no_verdict;
  ++count;
}

}  // namespace

Markup report_link(const Attempt& a, const Markup& text) {
  return link("/report/" + url_text(a.id), text);
}

std::vector<LotLine> lot_lines(const std::vector<Attempt>& attempts) {
  std::map<std::string, LotLine> lots;
  std::map<std::pair<std::string, std::string>, PackInLots> packs;  // by kind and serial
  for (const Attempt& a : attempts) {
    LotLine& lot = lots[a.lot];
    lot.name = a.lot;
    lot.pack = a.profile_name;
    lot.newest = std::max(lot.newest, a.started_at);
    // Without a serial each is a pack of its own.
    packs[{a.profile_name, a.serial.empty() ? "\n" + a.id : a.serial}].add(a);
  }
  for (const auto& [name, pack] : packs)
    for (const auto& [lot, judged] : pack.lots) count_pack(pack.standing, judged, lots[lot]);
  std::vector<LotLine> out;
  for (const auto& [name, lot] : lots) out.push_back(lot);
  std::stable_sort(out.begin(), out.end(),
                   [](const LotLine& a, const LotLine& b) { return a.newest > b.newest; });
  return out;
}

std::string lots_page(const std::vector<LotLine>& lots, const std::vector<Attempt>& newest,
                      const record::LedgerQuery& search) {
  return document("Lots and records", {},
                  navigation("/lots") + "<main><h1>Lots and records</h1><section><h2>Lots</h2>" +
                      lot_table(lots) + "</section><section><h2>Find records</h2>" +
                      search_form(search) + "</section><section><h2>Newest records</h2>" +
                      record_table(newest, "Newest first. Choose two to compare.") +
                      "</section></main>");
}

std::string records_page(const std::vector<Attempt>& found, const record::LedgerQuery& search) {
  const Markup count = plain(counted(found.size(), "record"));
  return document("Records found", {},
                  navigation("") + "<main><h1>Records found</h1>" + search_form(search) +
                      "<section><h2>" + count + "</h2>" +
                      record_table(found, "Newest first. Choose two to compare.") +
                      "</section></main>");
}

std::string report_page(const Input& input, const Attempt& attempt) {
  return to_html(input, navigation(""), decision(attempt));
}

std::string plain_page(const std::string& title, const std::string& text) {
  return document(
      title, {},
      navigation("") + "<main><h1>" + plain(title) + "</h1><p>" + plain(text) + "</p></main>");
}

}  // namespace pinproof::report
