#include <doctest/doctest.h>

#include <algorithm>
#include <nlohmann/json.hpp>
#include <vector>

#include "inspection/rig.h"
#include "quantity/error.h"
#include "report/formats.h"
#include "report/svg.h"

using namespace pinproof;

namespace {

struct Case {
  profile::Profile profile = tests::load("six-speed-20-pin");
  tests::Inspected pack =
      tests::inspect(profile, 7, {"coil B: shorted-turns 10%", "contact L3: stuck-closed"});
  std::string render(const char* format, bool verbose = false) {
    return report::render(format, {&profile, &pack.record, &pack.judgement, verbose});
  }
};

Case& sample() {
  static Case the_case;
  return the_case;
}

std::size_t columns(const std::string& line) {
  return static_cast<std::size_t>(std::count_if(line.begin(), line.end(), [](char c) {
    return (static_cast<unsigned char>(c) & 0xC0) != 0x80;
  }));
}

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> out{""};
  for (const char c : text) {
    if (c == '\n')
      out.emplace_back();
    else
      out.back() += c;
  }
  return out;
}

// Tags that open must close in order; void elements and self-closed ones aside.
std::string first_unbalanced(const std::string& html) {
  std::vector<std::string> open;
  for (auto at = html.find('<'); at != std::string::npos; at = html.find('<', at + 1)) {
    const auto end = html.find('>', at);
    if (end == std::string::npos) return "unclosed <";
    const std::string tag = html.substr(at + 1, end - at - 1);
    if (tag.starts_with('!') || tag.ends_with('/') || tag.starts_with("meta")) continue;
    const std::string name = tag.substr(
        tag.starts_with('/') ? 1 : 0, tag.find_first_of(" /", 1) - (tag.starts_with('/') ? 1 : 0));
    if (!tag.starts_with('/')) {
      open.push_back(name);
    } else if (open.empty() || open.back() != tag.substr(1)) {
      return "</" + tag.substr(1) + ">" + (open.empty() ? "" : " inside <" + open.back() + ">");
    } else {
      open.pop_back();
    }
  }
  return open.empty() ? "" : "<" + open.back() + "> never closed";
}

}  // namespace

TEST_CASE(
    "text for 80 columns tells verdict, level, findings, what was not tested and the cautions") {
  for (const bool verbose : {false, true}) {
    const std::string text = sample().render("text", verbose);
    for (const std::string& line : lines_of(text)) CHECK(columns(line) <= 80);
    CHECK(text.starts_with("✖ REJECT (level full)"));
    for (const char* words : {"Coil B has shorted turns", "Not tested", "Compressed air",
                              "Start in gear", "Flammable cleaner", "Coil heat"})
      CHECK(text.find(words) != std::string::npos);
  }
}

TEST_CASE("what one cause says of many parts is said once, and names them all") {
  const auto profile = tests::load("six-speed-20-pin");
  const auto pack = tests::inspect(profile, 8, {"wire ground wire: open"});
  const std::string text = report::render("text", {&profile, &pack.record, &pack.judgement, false});
  std::string words;  // as one line
  for (const char c : text)
    if (const char one = c == '\n' ? ' ' : c; one != ' ' || !words.ends_with(' ')) words += one;
  const auto first = words.find("nothing was ever read through pin 20");
  REQUIRE(first != std::string::npos);
  CHECK(words.find("nothing was ever read through pin 20", first + 1) == std::string::npos);
  CHECK(words.find("Insulation of pins 1, 2, 3, 4, 5, 6, 7 and 8; pin 9; pin 10; pin 12; pin 13; "
                   "pin 14; pin 15; pin 16; pin 17; pin 18: open") != std::string::npos);
}

TEST_CASE("HTML is balanced, whole, self-contained, and shows every check, finding and omission") {
  const std::string html = sample().render("html");
  CHECK(first_unbalanced(html) == "");
  for (const auto& r : sample().pack.judgement.results)
    CHECK(html.find(report::escape(r.title).text()) != std::string::npos);
  for (const auto& f : sample().pack.judgement.findings)
    CHECK(html.find(report::escape(f.text).text()) != std::string::npos);
  for (const auto& line : sample().pack.judgement.not_tested)
    CHECK(html.find(report::escape(line).text()) != std::string::npos);
  for (const auto& line : sample().pack.judgement.cautions)
    CHECK(html.find(report::escape(line).text()) != std::string::npos);
  for (const char* outside : {"src=", "href=", "@import", "<script", "url("})
    CHECK(html.find(outside) == std::string::npos);
  for (const char* bad : {"=\"nan", "=\"-nan", "=\"inf", ",nan", " nan", "nan,"})
    CHECK(html.find(bad) == std::string::npos);
  CHECK(html.size() < 600000);
  CHECK(html.find("1 → 0") != std::string::npos);  // the stuck contact in the lever table
}

TEST_CASE("names from outside are shown harmlessly") {
  Case c = sample();
  const std::string nasty =
      "<script>alert('x')</script>\"&\n\x1b[31m\u202e" + std::string(10000, 'W');
  c.pack.record.header.serial = nasty;
  c.pack.record.header.lot = "=HYPERLINK(\"x\")";
  const std::string html = c.render("html");
  CHECK(html.find("<script") == std::string::npos);
  CHECK(html.find("&lt;script&gt;") != std::string::npos);
  CHECK(html.find('\x1b') == std::string::npos);
  CHECK(first_unbalanced(html) == "");
  const std::string text = c.render("text");
  CHECK(text.find('\x1b') == std::string::npos);
  for (const std::string& line : lines_of(text)) CHECK(columns(line) <= 80);
  CHECK(nlohmann::json::parse(c.render("json")).at("serial") == nasty);
}

TEST_CASE("JSON has the verdict, SI in its keys and no figure that is not a number") {
  const auto json = nlohmann::json::parse(sample().render("json"));
  CHECK(json.at("schema") == "pinproof/report/1");
  CHECK(json.at("verdict") == "reject");
  CHECK(json.at("level") == "full");
  CHECK(json.at("coils").size() == 7);
  for (const char* key : {"resistance_ohm", "inductance_H", "time_constant_s", "eddy_fraction",
                          "final_current_A", "flux_linkage_Vs", "onset_s", "current_peak",
                          "pull_in", "release_s", "clamp_V", "plunger", "findings", "fit"})
    CHECK(json.at("coils").at("A").contains(key));
  CHECK(json.at("lever").size() == 7);
}

TEST_CASE("CSV: a row a reading, formulas defused") {
  Case c = sample();
  std::get<record::Reading>(c.pack.record.events.front()).key.subject = "=1+1";
  const auto rows = lines_of(c.render("csv"));
  const auto readings =
      std::count_if(c.pack.record.events.begin(), c.pack.record.events.end(),
                    [](const auto& e) { return std::holds_alternative<record::Reading>(e); });
  CHECK(rows.size() == static_cast<std::size_t>(readings) + 2);  // header and the empty end
  CHECK(rows[1].find("\"'=1+1\"") != std::string::npos);
  CHECK(rows[0].starts_with("check,subject,role"));
}

TEST_CASE("an unknown format is named") { CHECK_THROWS_AS((void)sample().render("pdf"), Error); }
