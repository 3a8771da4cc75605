// Sampling plans and their operating characteristic against the published tables; each file of
// tests/data/statistics names its source in its first lines.
#include "metrology/sampling.h"

#include <algorithm>
#include <cmath>

#include "table.h"

namespace pinproof::metrology {
namespace {

TEST_CASE("code letters of ISO 2859-1") {
  for (const Row& row : table("statistics/aql_code_letters.tsv"))
    for (const char* level : {"S-1", "S-2", "S-3", "S-4", "I", "II", "III"}) {
      CHECK(code_letter(count(row, "lot_min"), level) == row.at(level)[0]);
      if (!row.at("lot_max").empty())
        CHECK(code_letter(count(row, "lot_max"), level) == row.at(level)[0]);
    }
  CHECK(!code_letter(1, "II"));
  CHECK(!code_letter(100, "IV"));
}

TEST_CASE("single plans, normal and tightened, arrows followed") {
  for (const Row& row : table("statistics/aql_normal_single.tsv")) {
    const auto plan = single_plan(row.at("letter")[0], number(row, "AQL"), Severity::normal);
    INFO(row.at("letter") << " " << row.at("AQL"));
    REQUIRE(plan);
    CHECK(plan->n == count(row, "n"));
    CHECK(plan->Ac == count(row, "Ac"));
    CHECK(std::abs(accept_probability(*plan, number(row, "AQL") / 100) - number(row, "Pa_at_AQL")) <
          6e-9);
    for (const auto& [key, p] : {std::pair("p95", 0.95), {"p50", 0.5}, {"p10", 0.1}})
      CHECK(share_at(*plan, p) == doctest::Approx(number(row, key)).epsilon(6e-6));
  }
  for (const Row& row : table("statistics/aql_tightened_single.tsv")) {
    const auto plan = single_plan(row.at("letter")[0], number(row, "AQL"), Severity::tightened);
    INFO("tightened " << row.at("letter") << " " << row.at("AQL"));
    REQUIRE(plan);
    CHECK(plan->n == count(row, "n"));
    CHECK(plan->Ac == count(row, "Ac"));
  }
  for (const Row& row : table("statistics/aql_level_II_lookup.tsv")) {
    const std::size_t lot = count(row, "lot");
    const auto letter = code_letter(lot, "II");
    REQUIRE(letter);
    CHECK(*letter == row.at("letter")[0]);
    const auto plan = single_plan(*letter, number(row, "AQL"), Severity::normal);
    REQUIRE(plan);
    CHECK(plan->n == count(row, "n"));
    CHECK(plan->Ac == count(row, "Ac"));
    CHECK((plan->n >= lot) == (count(row, "inspect_all") == 1));
  }
  CHECK(!single_plan('I', 1.0, Severity::normal));
  CHECK(!single_plan('J', 1.1, Severity::normal));
}

TEST_CASE("operating characteristic, of a process and of one lot") {
  for (const Row& row : table("statistics/oc_check.tsv")) {
    const SamplePlan plan{count(row, "n"), count(row, "Ac")};
    const double Pa = row.at("type") == "b"
                          ? accept_probability(plan, number(row, "p"))
                          : accept_probability(plan, count(row, "N"), count(row, "D"));
    INFO(row.at("type") << " N " << row.at("N") << " D " << row.at("D") << " p " << row.at("p")
                        << " n " << plan.n << " Ac " << plan.Ac);
    CHECK(std::abs(Pa - number(row, "Pa")) < 1e-11);
  }
  CHECK(accept_probability({8, 0}, 50, 1) == doctest::Approx(0.84).epsilon(1e-12));  // 42 of 50
}

// The rules as ISO 2859-1 states them: to tightened after two of five lots, back after five in a
// row, an end after five refused under tightened inspection.
TEST_CASE("switching") {
  using State = SwitchingState;
  Switching one;
  for (const bool lot : {false, true, true, true, true}) one.add(lot);
  CHECK(one.state() == State::normal);
  one.add(false);  // five lots after the first: it is out of the five
  CHECK(one.state() == State::normal);
  one.add(false);
  CHECK(one.state() == State::tightened);
  for (int k = 0; k < 4; ++k) one.add(true);
  CHECK(one.state() == State::tightened);
  one.add(true);
  CHECK(one.state() == State::normal);
  one.add(false);
  CHECK(one.state() == State::normal);
  one.add(false);
  for (int k = 0; k < 4; ++k) one.add(false);
  CHECK(one.state() == State::tightened);
  one.add(false);
  CHECK(one.state() == State::discontinued);
  one.add(true);
  CHECK(one.state() == State::discontinued);
}

}  // namespace
}  // namespace pinproof::metrology
