// Names from outside through every report and the ledger: nothing of them steers a terminal, a
// spreadsheet or a browser, and nothing of them is lost where the record is kept.
#include <doctest/doctest.h>

#include <algorithm>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "inspection/judge/judge.h"
#include "lot/study.h"
#include "paths.h"
#include "profile/load.h"
#include "quantity/characters.h"
#include "quantity/error.h"
#include "quantity/lines.h"
#include "record/attempts.h"
#include "record/json.h"
#include "report/formats.h"
#include "report/label.h"
#include "report/lot.h"
#include "report/records.h"

using namespace pinproof;

namespace {

std::string times(std::size_t count, const std::string& text) {
  std::string out;
  for (std::size_t k = 0; k < count; ++k) out += text;
  return out;
}

const std::vector<std::string>& names() {
  static const std::vector<std::string> kNames{
      "<script>alert('x')</script>",
      "</title><b>\"A\" & 'B' ]]>",
      "=HYPERLINK(\"http://example.org\",\"A\")",
      "+1+1",
      "-2+3",
      "@SUM(A1:A9)",
      "\t=1+1",
      "\r\n=1+1",
      " \u00a0\u200b=1+1",
      "\uff1d1+1",
      "one\ntwo\r\nthree",
      "\x1b[2J\x1b]0;title\x07 \x7f\u009b31m\u0085",
      "\u202egpj.\u202c \u2066x\u2069 \u200f\u200e \u2028 \u061c",
      "\U0001F469\u200D\U0001F527 \U0001F642 \u6f22\u5b57 \u05D0\u05D1",
      "\xff\xfe \xc0\xaf cut \xf0\x9f",
      "e" + times(900, "\u0301"),
      "'; DROP TABLE attempts; --",
      std::string(10000, 'x'),
      times(10000, "<"),
      times(5000, "\u6f22"),
      times(1000, "word = 1\n")};
  return kNames;
}

// Written from the list of the task, not by what the program calls a control.
bool steers(const std::string& text) {
  for (std::size_t k = 0; k < text.size(); ++k) {
    const auto at = [&](std::size_t n) {
      return k + n < text.size() ? static_cast<unsigned char>(text[k + n]) : 0u;
    };
    if ((at(0) < 0x20 && at(0) != '\n') || at(0) == 0x7F) return true;
    if (at(0) == 0xC2 && at(1) >= 0x80 && at(1) <= 0x9F) return true;  // C1
    if (at(0) == 0xE2 && at(1) == 0x80 &&
        (at(2) == 0x8E || at(2) == 0x8F || (at(2) >= 0xA8 && at(2) <= 0xAE)))
      return true;
    if (at(0) == 0xE2 && at(1) == 0x81 && at(2) >= 0xA6 && at(2) <= 0xA9) return true;
  }
  return false;
}

bool is_utf8(const std::string& text) { return clean_text(text, std::size_t{1} << 30) == text; }

void check_lines(const std::string& text) {
  CHECK_FALSE(steers(text));
  CHECK(is_utf8(text));
  std::size_t widest = 0, from = 0;
  for (auto at = text.find('\n'); at != std::string::npos; at = text.find('\n', from)) {
    widest = std::max(widest, columns(text.substr(from, at - from)));
    from = at + 1;
  }
  CHECK(widest <= 80);
}

// RFC 4180, section 2.
std::vector<std::vector<std::string>> cells_of(const std::string& csv) {
  std::vector<std::vector<std::string>> rows{{""}};
  bool quoted = false;
  for (std::size_t k = 0; k < csv.size(); ++k) {
    if (quoted && csv[k] == '"' && k + 1 < csv.size() && csv[k + 1] == '"')
      rows.back().back() += '"', ++k;
    else if (csv[k] == '"')
      quoted = !quoted;
    else if (!quoted && csv[k] == ',')
      rows.back().emplace_back();
    else if (!quoted && csv[k] == '\n')
      rows.push_back({""});
    else if (quoted || csv[k] != '\r')
      rows.back().back() += csv[k];
  }
  REQUIRE_FALSE(quoted);
  rows.pop_back();
  return rows;
}

struct Case {
  profile::Profile profile =
      profile::load_profile(pinproof::tests::source_dir() + "/profiles/six-speed-20-pin.json");
  record::Record record;
  inspection::Judgement judgement;

  explicit Case(const std::string& name) {
    record.header = record::header(name, name);
    record.header.profile_name = profile.name, record.header.profile_hash = profile.hash;
    record.header.note = name;
    record.events = {record::reading("A", 12.98), record::Finished{findings::Ending::complete, ""}};
    if (name.size() < 900) std::get<record::Reading>(record.events[0]).instrument = name;
    judgement = inspection::judge(profile, record);
  }
  std::string render(const char* format) {
    return report::render(format, {&profile, &record, &judgement, true});
  }
};

record::Attempt held() {
  record::Attempt out;
  out.verdict = "hold", out.level = "static";
  return out;
}

report::LabelCase label_of(const std::string& name) {
  report::LabelCase out;
  out.id = "01JDKX7Q4MZ8T5V6W7X8Y9ABCD";
  out.serial = out.lot = out.profile = out.overridden_by = name, out.date = "2026-11-02";
  return out;
}

}  // namespace

TEST_CASE("text report: 80 columns, nothing that steers the terminal") {
  const auto lines_of = [](const std::string& text) {
    return std::count(text.begin(), text.end(), '\n');
  };
  const auto plain = lines_of(Case("A17").render("text"));
  for (const std::string& name : names()) {
    const std::string text = Case(name).render("text");
    check_lines(text);
    CHECK(lines_of(text) <= plain + 5);  // what matters stays on the screen
    CHECK(text.find("HOLD") != std::string::npos);
    const bool is_long = clean_text(name).size() >= 9000;
    CHECK((text.find(" characters)") != std::string::npos) == is_long);
  }
}

TEST_CASE("CSV: every row whole, no cell a formula") {  // OWASP, CSV Injection
  const record::Attempt attempt = held();
  for (const std::string& name : names()) {
    Case one(name);
    const std::string csv = report::csv_head(true) + report::csv_rows(one.record, &attempt);
    CHECK(is_utf8(csv));
    std::string lines = csv;
    std::erase(lines, '\r');
    CHECK_FALSE(steers(lines));
    CHECK(std::count(csv.begin(), csv.end(), '\n') == 2);
    const auto rows = cells_of(csv);
    REQUIRE(rows.size() == 2);
    CHECK(rows[1].size() == rows[0].size());
    CHECK(rows[0][4] == "verdict");
    CHECK(rows[1][4] == "hold");
    CHECK(rows[0][5] == "level");
    CHECK(rows[1][5] == "static");
    REQUIRE(rows[0][18] == "instrument");
    for (const std::string& cell : {rows[1][1], rows[1][2], rows[1][18]}) {
      const std::string seen = cell.substr(std::min(cell.find_first_not_of(' '), cell.size()));
      CHECK(std::string("=+-@").find(seen.empty() ? 'x' : seen[0]) == std::string::npos);
      CHECK_FALSE(seen.starts_with("\uff1d"));
      CHECK_FALSE(seen.starts_with("\u00a0\u200b="));
    }
  }
  CHECK(cells_of(report::csv_rows(Case("=1+1").record, &attempt))[0][1] == "'=1+1");
  CHECK(cells_of(report::csv_rows(Case("A-1 \"x\"").record, &attempt))[0][1] == "A-1 \"x\"");
}

TEST_CASE("JSON: the whole name, whatever it holds") {
  for (const std::string& name : names()) {
    Case one(name);
    const auto report = nlohmann::json::parse(one.render("json"));
    CHECK(report.at("serial") == clean_text(name));
    const record::Record again = record::from_json(record::to_json(one.record), "r.json");
    CHECK(again.header.serial == clean_text(name));
    CHECK(again.header.note == clean_text(name));
  }
  Case one("A");
  std::string json = record::to_json(one.record);
  json.replace(json.find("\"serial\":\"A\""), 12, "\"serial\":\"A\\u0000\"");
  CHECK(record::from_json(json, "r.json").header.serial == "A\uFFFD");
  one.record.header.note = std::string(16385, 'n');
  CHECK_THROWS_WITH_AS(record::from_json(record::to_json(one.record), "r.json"),
                       doctest::Contains("/header/note: a text of 16385 bytes; at most 16384"),
                       Error);
}

TEST_CASE("label: drawn as outlines, shortened where it must be, and it says so") {
  const auto plain = report::label_svg(label_of("A17")).size();
  for (const std::string& name : names()) {
    const auto one = label_of(name);
    const std::string svg = report::label_svg(one), text = report::label_text(one);
    CHECK(svg.size() < plain + 150000);
    CHECK_FALSE(steers(svg));
    for (const char* part : {"script", "</title", "<<", "&", "HYPERLINK", "DROP"})
      CHECK(svg.find(part) == std::string::npos);
    const std::string pdf = report::label_pdf(one);
    CHECK(pdf.starts_with("%PDF-1."));
    CHECK(pdf.find("HYPERLINK") == std::string::npos);
    check_lines(text);
    if (clean_text(name).size() >= 9000)
      CHECK(text.find("\u2026 (shortened)\n") != std::string::npos);
  }
  CHECK(report::label_text(label_of("A17")).find("shortened") == std::string::npos);
  // A row more where something was cut, and only there: the others move up and become smaller.
  const auto rows_of = [](std::string serial) {
    auto one = label_of("A17");
    one.serial = std::move(serial);
    const std::string svg = report::label_svg(one);
    std::size_t count = 0;
    for (auto at = svg.find("<path"); at != std::string::npos; at = svg.find("<path", at + 1))
      ++count;
    return count;
  };
  CHECK(rows_of("A17 at length") == rows_of("A17"));
  CHECK(rows_of(std::string(200, 'W')) == rows_of("A17") + 1);
}

TEST_CASE("page: no markup of the name's own") {
  for (const std::string& name : names()) {
    if (name.find('<') == std::string::npos) continue;
    const std::string html = Case(name).render("html");
    CHECK(html.find(name) == std::string::npos);
    for (const char* part : {"<script>alert", "</title><b>", "<<"})
      CHECK(html.find(part) == std::string::npos);
    CHECK(html.find("&lt;") != std::string::npos);
  }
}

TEST_CASE("ledger: ten thousand characters go in, are found, come out and verify") {
  const record::Folder folder;
  const auto ledger = record::Ledger::open(folder.file("l.sqlite"));
  const auto other = record::Ledger::open(folder.file("other.sqlite"));
  for (const std::string& name : names()) {
    const std::string whole = clean_text(name);
    record::Header header = record::header(name, name);
    header.note = name;
    const std::string id = record::keep(*ledger, header, 12.98);
    CHECK(ledger->attempt(id).serial == whole);
    CHECK(ledger->attempt(id).lot == whole);
    CHECK(ledger->load(id).header.note == whole);
    record::LedgerQuery by_serial, by_lot;
    by_serial.serial = by_lot.lot = name;
    for (const auto& search : {by_serial, by_lot}) {
      const auto found = ledger->find(search);
      REQUIRE(found.size() == 1);
      CHECK(found[0].id == id);
    }
    CHECK(other->receive({ledger->parcel(id)}));
    CHECK_FALSE(other->receive({ledger->parcel(id)}));
    CHECK(other->attempt(id).serial == whole);
    const auto before = ledger->lots_before("ferry yard five-speed", 1000, 1);
    REQUIRE(before.size() == 1);
    CHECK(before[0] == whole);
    check_lines(report::lot_text(lot::study_lot(*ledger, {.lot = name}), true));
    ledger->override_verdict(id, {"hold", name, name, ""});
  }
  check_lines(report::records_text(ledger->find({})));
  CHECK(nlohmann::json::parse(report::records_json(ledger->find({}))).at("records").size() ==
        names().size());
  CHECK(ledger->verify().problems.empty());
  CHECK(other->verify().problems.empty());
  ledger->back_up(folder.file("copy.sqlite"));
  CHECK(record::Ledger::open_existing(folder.file("copy.sqlite"))->verify().problems.empty());
}

TEST_CASE("ledger: long names that differ at their end only are two packs; a forged one shows") {
  const record::Folder folder;
  const auto ledger = record::Ledger::open(folder.file("l.sqlite"));
  const std::string first = std::string(9999, 'x') + "1", second = std::string(9999, 'x') + "2";
  for (const std::string& name : {first, second, first})
    record::keep(*ledger, record::header(name), 12.98);
  record::LedgerQuery search;
  search.serial = first;
  CHECK(ledger->find(search).size() == 2);
  search.serial = second;
  CHECK(ledger->find(search).size() == 1);
  const auto study = lot::study_lot(*ledger, {.lot = "L"});
  CHECK(study.counts.packs == 2);
  CHECK(study.counts.retested == 1);
  // 1,001 bytes: the first that are not held as they are.
  for (const std::size_t size : std::initializer_list<std::size_t>{1000, 1001, 16384})
    CHECK(ledger->attempt(record::keep(*ledger, record::header(std::string(size, 'y')), 13))
              .serial.size() == size);
  CHECK(ledger->verify().problems.empty());
}
