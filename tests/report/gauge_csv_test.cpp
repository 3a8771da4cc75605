#include "tables/gauge_csv.h"

#include <doctest/doctest.h>

#include <string>
#include <vector>

#include "quantity/error.h"

using namespace pinproof;
using pinproof::tables::parse_gauge_csv;
using pinproof::tables::parse_reference_log;

namespace {

const std::string kHead = "part,operator,repeat,value\n";
const std::string kLogHead = "at_utc,bench,check,outcome,value_ohm,U_ohm\n";

// Two parts, two operators, two repeats: 1 to 8.
std::string small_study() {
  return kHead + "P1,A,1,1\nP1,A,2,2\nP1,B,1,3\nP1,B,2,4\nP2,A,1,5\nP2,A,2,6\nP2,B,1,7\nP2,B,2,8\n";
}

std::string replaced(std::string text, const std::string& from, const std::string& to) {
  const auto at = text.find(from);
  REQUIRE(at != std::string::npos);
  return text.replace(at, from.size(), to);
}

template <class Parse>
std::string refusal(const Parse& parse) {
  try {
    parse();
    return "";
  } catch (const Error& e) {
    CHECK(e.fault() == Fault::usage);
    return e.what();
  }
}

std::string study_refusal(const std::string& text) {
  return refusal([&] { pinproof::tables::parse_gauge_csv(text, "study.csv"); });
}

std::string log_refusal(const std::string& text, const std::string& bench = "") {
  return refusal([&] { pinproof::tables::parse_reference_log(text, "daily.csv", bench); });
}

std::string log_row(const std::string& day, const std::string& bench, const std::string& check,
                    const std::string& value) {
  return "2024-05-" + day + "T08:00:00Z,\"" + bench + "\",\"" + check + "\",pass," + value +
         ",0.02\n";
}

}  // namespace

TEST_CASE("a study is read by its column names, in any order, pinproof::tables::quoted or not") {
  const auto plain = pinproof::tables::parse_gauge_csv(small_study(), "study.csv");
  CHECK(plain.parts == std::vector<std::string>{"P1", "P2"});
  CHECK(plain.operators == std::vector<std::string>{"A", "B"});
  CHECK(plain.repeats == 2);
  CHECK(plain.values == metrology::GaugeValues{{{1, 2}, {3, 4}}, {{5, 6}, {7, 8}}});

  const std::string other =
      "\xEF\xBB\xBF\"value\" , repeat,operator,part\r\n8,2,B,P2\r\n7,1,B,P2\r\n6,2,A,P2\r\n\r\n"
      "5,1,A,P2\r\n4,2,B,P1\r\n\"3\",1,\"B\",\"P1\"\r\n2,2,A,P1\r\n+1e0 ,1, A ,P1";
  const auto turned = pinproof::tables::parse_gauge_csv(other, "study.csv");
  CHECK(turned.parts == std::vector<std::string>{"P2", "P1"});  // as the file names them
  CHECK(turned.operators == std::vector<std::string>{"B", "A"});
  CHECK(turned.values == metrology::GaugeValues{{{7, 8}, {5, 6}}, {{3, 4}, {1, 2}}});
}

TEST_CASE("quoted names keep commas, quotes and line ends") {
  std::string text = small_study();
  for (int k = 0; k < 4; ++k) text = replaced(text, "P1,", "\"a, \"\"b\"\"\n\",");
  const auto table = pinproof::tables::parse_gauge_csv(text, "study.csv");
  CHECK(table.parts.front() == "a, \"b\"\n");
  CHECK(table.values[0][0] == std::vector<double>{1, 2});
  // The lines are still counted right behind them.
  CHECK(study_refusal(text + "P3,A,x,1\n").starts_with("study.csv: line 14: repeat \"x\""));
}

TEST_CASE("a study that is not one is refused with file, line and reason") {
  const std::string good = small_study();
  struct Case {
    std::string text, words;
  };
  for (const Case& c : std::vector<Case>{
           {"", "study.csv: the file is empty"},
           {"\n\n", "study.csv: the file is empty"},
           {kHead, "study.csv: no row below the header"},
           {replaced(good, "part", "Part"), "line 1: unknown column \"Part\""},
           {replaced(good, "part", "value"), "line 1: column \"value\" stands twice"},
           {"part,operator,repeat\n", "line 1: no column \"value\""},
           {replaced(good, ",", ";"), "line 1: unknown column \"part;operator\""},
           {replaced(good, "P1,A,1,1", "P1,A,1"), "line 2: 3 cells; the header has 4"},
           {replaced(good, "P1,A,1,1", "P1,A,1,1,2"), "line 2: 5 cells"},
           {replaced(good, "P1,A,1,1", "P1,A,1,1.5 ohm"), "line 2: value \"1.5 ohm\" is no number"},
           {replaced(good, "P1,A,1,1", "P1,A,1,\"1,5\""), "value \"1,5\" is no number"},
           {replaced(good, "P1,A,1,1", "P1,A,1,nan"), "value \"nan\" is no number"},
           {replaced(good, "P1,A,1,1", "P1,A,1,"), "line 2: value \"\" is no number"},
           {replaced(good, "P1,A,1,1", ",A,1,1"), "line 2: no part is named"},
           {replaced(good, "P1,A,1,1", "P1,,1,1"), "line 2: no operator is named"},
           {replaced(good, "P1,A,1,1", "P1,A,0,1"), "line 2: repeat \"0\": a whole number"},
           {replaced(good, "P1,A,1,1", "P1,A,1.5,1"), "line 2: repeat \"1.5\": a whole number"},
           {replaced(good, "P1,A,1,1", "P1,A,1e9,1"), "line 2: repeat \"1e9\": a whole number"},
           {replaced(good, "P1,A,2,2", "P1,A,1,2"),
            "line 3: part \"P1\", operator \"A\", repeat 1 stands in line 2 too"},
           {replaced(good, "P1,B,2,4\n", ""),
            "part \"P1\", operator \"B\": repeat 2 is missing; the study holds 7 of 8 readings"},
           {replaced(good, "P1,A,1,1", "P1,a,1,1"),
            "operator \"a\": repeat 2 is missing; the study holds 8 of 12"},
           {kHead + "P1,A,1,1\n", "parts: 1, operators: 1, repeats: 1; a study needs two"},
           {replaced(good, "P1,A", "\"P1,A"), "line 2: a quote that is not closed"},
           {replaced(good, "P1,A", "\"P1\"x,A"), "line 2: text behind a closing quote"},
           {replaced(good, "P1", std::string("P\0", 2)), "this is not text"},
           // Headers in each other's place.
           {replaced(good, "operator,repeat", "repeat,operator"), "are columns swapped?"},
           {replaced(good, "part,operator,repeat,value", "value,operator,repeat,part"),
            "are columns swapped?"}}) {
    const std::string why = study_refusal(c.text);
    CHECK_MESSAGE(why.find(c.words) != std::string::npos, why);
    CHECK(why.starts_with("study.csv: "));
  }
}

TEST_CASE("a message shows names harmlessly and a huge study is refused, not tried") {
  const std::string why = study_refusal(
      replaced(small_study(), "P1,A,1,1", "P1,A,1,\"\x1b[31m" + std::string(9999, 'W') + "\""));
  CHECK(why.find('\x1b') == std::string::npos);
  CHECK(why.size() < 300);
  std::string many = kHead;
  for (int k = 0; k < 5000; ++k) many += std::to_string(k) + ",A,1,1\n";
  CHECK(study_refusal(many).find("more than 1000 names of a part") != std::string::npos);
}

TEST_CASE(
    "the log: the first check of the reference, in the order of time, rows without value aside") {
  const std::string before = "Reference resistor, before";
  const std::string text = kLogHead + log_row("02", "B1", before, "100.02") +
                           log_row("02", "B1", "Leads shorted", "0.001") +
                           log_row("02", "B1", "Reference resistor, after", "100.09") +
                           log_row("01", "B1", before, "100.01") +
                           "2024-05-03T08:00:00Z,\"B1\",\"" + before + "\",skipped,,\n";
  const auto log = pinproof::tables::parse_reference_log(text, "daily.csv", "");
  CHECK(log.bench == "B1");
  CHECK(log.check == before);
  CHECK(log.at == std::vector<std::string>{"2024-05-01T08:00:00Z", "2024-05-02T08:00:00Z"});
  REQUIRE(log.readings.size() == 2);
  CHECK(log.readings[0].value == 100.01);
  CHECK(log.readings[1].value == 100.02);
  CHECK(log.readings[1].accuracy == 0.02);
  CHECK(log.without_value == 1);
}

TEST_CASE("the log of several benches wants a name") {
  const std::string check = "Reference resistor, before";
  const std::string text =
      kLogHead + log_row("01", "B1", check, "100.01") + log_row("01", "B, 2", check, "50.01");
  CHECK(log_refusal(text).find("several benches: \"B, 2\", \"B1\"; say which with --bench-name") !=
        std::string::npos);
  CHECK(pinproof::tables::parse_reference_log(text, "daily.csv", "B, 2").readings.at(0).value ==
        50.01);
  CHECK(log_refusal(text, "B3").find("no bench \"B3\"; the log knows") != std::string::npos);
}

TEST_CASE("a log that is not one is refused with file, line and reason") {
  const std::string check = "Reference resistor, before", good = log_row("01", "B1", check, "100");
  CHECK(log_refusal(kHead + "a,b,1,2\n").find("line 1: unknown column \"part\"") !=
        std::string::npos);
  CHECK(log_refusal(kLogHead + log_row("01", "B1", "Leads shorted", "0.1"))
            .find("no reading of a check with \"reference\" in its title for bench \"B1\"") !=
        std::string::npos);
  CHECK(log_refusal(kLogHead + replaced(good, "T08", " 08")).find("line 2: at_utc") !=
        std::string::npos);
  CHECK(log_refusal(kLogHead + replaced(good, ",100,", ",1oo,")).find("line 2: value_ohm") !=
        std::string::npos);
  CHECK(log_refusal(kLogHead + replaced(good, "0.02", "")).find("line 2: U_ohm") !=
        std::string::npos);
  CHECK(log_refusal(kLogHead + replaced(good, "0.02", "-1")).find("U_ohm below 0") !=
        std::string::npos);
}
