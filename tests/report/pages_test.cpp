#include "report/pages.h"

#include <doctest/doctest.h>

#include <string>

#include "inspection/rig.h"
#include "quantity/url.h"
#include "report/bench_card.h"
#include "report/compare_html.h"
#include "report/formats.h"
#include "report/lot.h"
#include "report/page.h"

using namespace pinproof;

namespace {

record::Attempt attempt(const std::string& id, const std::string& serial, const std::string& lot,
                        const std::string& verdict) {
  record::Attempt out;
  out.id = id, out.serial = serial, out.lot = lot, out.verdict = verdict;
  out.level = "full", out.started_at = "2026-11-0" + id.substr(0, 1) + "T08:15:00Z";
  out.closed = !verdict.empty(), out.ended = out.closed ? "complete" : "";
  return out;
}

std::size_t count(const std::string& text, const std::string& what) {
  std::size_t n = 0;
  for (auto at = text.find(what); at != std::string::npos; at = text.find(what, at + 1)) ++n;
  return n;
}

bool has(const std::string& text, const std::string& what) {
  return text.find(what) != std::string::npos;
}

}  // namespace

// The list of controls: Unicode UAX #9, table of explicit formatting characters.
TEST_CASE("names are escaped, keep their direction to themselves, and are cut by columns") {
  CHECK(report::shown("<b>\"&'").text() == "<bdi>&lt;b&gt;&quot;&amp;&#39;</bdi>");
  CHECK(report::plain("a\u202Eb").text() == "a[U+202E]b");
  CHECK(report::plain("a\u2066b\u061C").text() == "a[U+2066]b[U+061C]");
  CHECK(report::plain("\u05D0\u05D1").text() == "\u05D0\u05D1");
  CHECK(report::plain("abcdef", 4).text() == "abc…");
  CHECK(report::plain("abcd", 4).text() == "abcd");
  CHECK_FALSE(has(report::plain("a\x1b[31m\n").text(), "\x1b"));
}

TEST_CASE("a serial cannot leave the style sheet it is printed by") {
  const std::string css = report::running_heads("\"}</style><script>\\", "").text();
  for (const char* sign : {"<", "\"}", "\\\\"}) CHECK_FALSE(has(css, sign + std::string("/style")));
  CHECK_FALSE(has(css, "</"));
  CHECK(has(css, "\\22 "));  // the quote, by its number (CSS Syntax 4.3.7)
}

// RFC 3986, 2.3: unreserved characters stay.
TEST_CASE("links carry any name") {
  CHECK(report::url_text("A-1._~z9").text() == "A-1._~z9");
  CHECK(report::url_text("a b&c=d/\u00e9\"").text() == "a%20b%26c%3Dd%2F%C3%A9%22");
}

TEST_CASE("a lot counts packs by their last attempt with a verdict") {
  const auto lines =
      report::lot_lines({attempt("1a", "S1", "W1", "reject"), attempt("2a", "S1", "W1", "accept"),
                         attempt("3a", "S2", "W1", "hold"), attempt("4a", "S2", "W1", ""),
                         attempt("5a", "", "W1", "accept"), attempt("6a", "", "W1", "reject"),
                         attempt("7a", "S3", "W2", "")});
  REQUIRE(lines.size() == 2);
  CHECK(lines[0].name == "W2");  // the latest first
  CHECK(lines[0].no_verdict == 1);
  CHECK(lines[1].packs == 4);
  CHECK(lines[1].accepts == 2);
  CHECK(lines[1].rejects == 1);
  CHECK(lines[1].holds == 1);
}

TEST_CASE("a lot's line: a static accept lifts no full reject, the worse of two verdicts counts") {
  const auto tried = [](const char* id, const char* serial, const char* verdict, const char* level,
                        const char* decided = "") {
    auto out = attempt(id, serial, "W1", verdict);
    out.level = level;
    if (*decided) out.overridden = record::Override{decided, "Ines", "rust", ""};
    return out;
  };
  const auto lines = report::lot_lines(
      {tried("1a", "S1", "reject", "full"), tried("2a", "S1", "accept", "static"),
       tried("3a", "S2", "reject", "full"), tried("4a", "S2", "accept", "full"),
       tried("5a", "S3", "accept", "full"), tried("6a", "S3", "reject", "static"),
       tried("7a", "S4", "accept", "full", "hold"), tried("8a", "S5", "reject", "full", "accept")});
  REQUIRE(lines.size() == 1);
  CHECK(lines[0].rejects == 3);  // S1, S3, S5
  CHECK(lines[0].accepts == 1);
  CHECK(lines[0].holds == 1);
}

TEST_CASE("a lot's line: a retest that broke off rejects, or doubts what was accepted before") {
  const auto broken = [](const char* id, const char* serial, const char* verdict,
                         const char* decided = "") {
    auto out = attempt(id, serial, "W1", verdict);
    out.ended = "stopped";
    if (*decided) out.overridden = record::Override{decided, "Ines", "burnt", ""};
    return out;
  };
  const auto lines = report::lot_lines(
      {attempt("1a", "S1", "W1", "accept"), broken("1b", "S1", "reject"),
       attempt("2a", "S2", "W1", "accept"), broken("2b", "S2", "hold", "reject"),
       attempt("3a", "S3", "W1", "accept"), broken("3b", "S3", "hold"), broken("4a", "S4", "hold"),
       attempt("4b", "S4", "W1", "accept"), broken("5a", "S5", "hold")});
  REQUIRE(lines.size() == 1);
  CHECK(lines[0].packs == 5);
  CHECK(lines[0].rejects == 2);
  CHECK(lines[0].holds == 1);
  CHECK(lines[0].accepts == 1);
  CHECK(lines[0].no_verdict == 1);
}

TEST_CASE("a lot's line: what a pack came to in other lots is in force, each lot counts it once") {
  auto again = attempt("2a", "X1", "W2", "accept");
  again.level = "static";
  auto other_kind = attempt("3a", "X1", "W2", "accept");
  other_kind.profile_name = "six-speed";
  const auto lines =
      report::lot_lines({attempt("1a", "X1", "W1", "reject"), again, other_kind,
                         attempt("4a", "X2", "W1", "accept"), attempt("5a", "X2", "W2", "")});
  REQUIRE(lines.size() == 2);
  CHECK(lines[0].name == "W2");
  CHECK(lines[0].packs == 3);
  CHECK(lines[0].rejects == 1);
  CHECK(lines[0].accepts == 1);     // the other kind
  CHECK(lines[0].no_verdict == 1);  // an older accept elsewhere is none of what is open here
  CHECK(lines[1].packs == 2);
  CHECK(lines[1].rejects == 1);
  CHECK(lines[1].accepts == 1);
}

TEST_CASE("a record that broke off shows in the list where it rejects or was decided on") {
  auto rejected = attempt("1", "S1", "W1", "reject"), held = attempt("2", "S2", "W1", "hold"),
       nothing = attempt("3", "S3", "W1", "hold");
  for (auto* one : {&rejected, &held, &nothing}) one->ended = "stopped";
  held.overridden = record::Override{"reject", "Ines", "burnt", ""};
  for (const auto* one : {&rejected, &held, &nothing}) {
    const auto page = report::records_page({*one}, {});
    CHECK(has(page, "stopped"));
    CHECK(has(page, "class=\"st fail\"") == (one != &nothing));
  }
}

TEST_CASE("a lot names the full reject that a static accept does not lift") {
  lot::LotStudy study;
  study.lot = "W1", study.counts.packs = study.counts.rejects = 1, study.counts.attempts = 2;
  study.unlifted.push_back(
      {attempt("1a", "S1", "W1", "reject"), attempt("2a", "S1", "W1", "accept")});
  std::string text = report::lot_text(study, false);
  for (auto at = text.find('\n'); at != std::string::npos; at = text.find('\n'))
    text.erase(at, text.find_first_not_of("\n ", at) - at).insert(at, " ");  // lines are wrapped
  CHECK(has(text,
            "S1: the newest static accept of 2026-11-02 does not lift the full reject of "
            "2026-11-01, record 1a"));
  CHECK(has(text, "1 rejected"));
  const std::string json = report::lot_json(study);
  CHECK(has(json, "\"not_lifted\""));
  CHECK(has(json, "\"id\": \"1a\""));
}

TEST_CASE("a lot says how many figures it left out, and shows them when asked") {
  lot::LotStudy study;
  study.lot = "W1", study.counts.packs = 2;
  for (const char* title : {"Quiet", "Still"}) {
    lot::LotFigure figure;
    figure.name.check = "insulation", figure.name.title = title;
    for (const double value : {1.0, 2.0, 3.0}) figure.series.add(1, value);
    study.figures.push_back(figure);
  }
  const std::string some = report::lot_text(study, false), all = report::lot_text(study, true);
  CHECK(has(some, "left out here (2)"));
  CHECK_FALSE(has(some, "Quiet"));
  CHECK_FALSE(has(all, "left out"));
  CHECK(has(all, "Quiet"));
  CHECK(has(all, "Still"));
}

TEST_CASE("the list of lots leads to lots and reports, and two records can be chosen") {
  const std::vector<record::Attempt> all{attempt("1a", "S\"1<", "W &1", "accept"),
                                         attempt("2a", "S2", "W &1", "reject")};
  const std::string page = report::lots_page(report::lot_lines(all), all, {});
  CHECK(has(page, "href=\"/lot?name=W%20%261\""));
  CHECK(has(page, "href=\"/report/1a\""));
  CHECK(count(page, "name=\"first\"") == 2);
  CHECK(count(page, "name=\"second\"") == 2);
  CHECK(has(page, "S&quot;1&lt;"));
  CHECK_FALSE(has(page, "<script"));
  CHECK(page.find("/report/2a") < page.find("/report/1a"));  // newest first
}

TEST_CASE("a comparison shows what changed first, by sign and word") {
  report::Comparison c;
  c.first = attempt("1a", "S1", "W1", "reject"), c.second = attempt("2a", "S1", "W1", "accept");
  c.figures = {{{"wire", "a", ""}, "Steady", Unit::ohm, Estimate{1, 0.1}, Estimate{1, 0.1}, "pass", "pass", false},
               {{"wire", "b", ""}, "Moved", Unit::ohm, Estimate{1, 0.1}, Estimate{2, 0.1}, "fail", "pass", true}};
  c.gone = {"coil-open A"};
  const std::string page = report::compare_html(c);
  CHECK(page.find("Moved") < page.find("Steady"));
  CHECK(has(page, "≠ changed"));
  CHECK(has(page, "✔ gone: coil-open A"));
  CHECK(has(page, "href=\"/report/2a\""));
}

// Copper by IEC 60028: 12.4 Ω at 20 °C is 12.4 * (234.5 + 60) / (234.5 + 20) = 14.349 Ω at 60 °C;
// 13.6 Ω is 15.738 Ω, and 0.1 Ω of wire may be added.
TEST_CASE("the bench card has every pin, and coils at 20, 40 and 60 °C") {
  const auto profile = tests::load("six-speed-20-pin");
  const std::string page = report::bench_card_html(profile);
  for (const auto& pin : profile.connector.pins) CHECK(has(page, report::plain(pin.signal).text()));
  CHECK(has(page, "12.4 Ω to 13.7 Ω"));
  CHECK(has(page, "14.3 Ω to 15.8 Ω"));
  CHECK(has(page, profile.hash));
  CHECK(has(page, "invented for the demo"));
  for (const char* outside : {"src=", "href=", "url(", "<script"}) CHECK_FALSE(has(page, outside));
}

TEST_CASE("page one says how many findings there are beyond those it has room for") {
  const auto profile = tests::load("six-speed-20-pin");
  auto pack = tests::inspect(profile, 7, {"coil B: shorted-turns 10%"});
  REQUIRE_FALSE(pack.judgement.findings.empty());
  pack.judgement.findings.resize(40, pack.judgement.findings.front());
  pack.judgement.findings.back().text = "the last of all";
  pack.record.header.serial = std::string(10000, 'W');
  const std::string html = report::render("html", {&profile, &pack.record, &pack.judgement, false});
  const auto details = html.find("class=\"details\"");
  CHECK(html.find("And 35 more") < details);
  CHECK(html.find("the last of all") > details);
  const std::string first = html.substr(0, details);
  CHECK_FALSE(has(first, std::string(200, 'W')));
  CHECK(has(html.substr(details), std::string(10000, 'W')));
}
