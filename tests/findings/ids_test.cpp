// Names in files are read back to the value they stand for, and no two ids read alike.
#include "findings/ids.h"

#include <doctest/doctest.h>

#include <set>

#include "findings/verdict.h"

using namespace pinproof::findings;

TEST_CASE("every value has a name of its own and is found by it") {
  std::set<std::string_view> names;
  const auto both_ways = [&](auto value, auto named) {
    const std::string_view name = name_of(value);
    CAPTURE(name);
    REQUIRE_FALSE(name.empty());
    CHECK(names.insert(name).second);
    CHECK(named(name) == value);
  };
  for (const Outcome o : {Outcome::pass, Outcome::fail, Outcome::undecided, Outcome::skipped,
                          Outcome::bench_fault})
    both_ways(o, outcome_named);
  for (const Verdict v : {Verdict::accept, Verdict::reject, Verdict::hold})
    both_ways(v, verdict_named);
  for (const Level l : {Level::static_, Level::full}) both_ways(l, level_named);
  for (const Ending e :
       {Ending::complete, Ending::stopped, Ending::bench_unproven, Ending::bench_failed})
    both_ways(e, ending_named);
  for (const SkipReason w : {SkipReason::other, SkipReason::taken_back, SkipReason::no_ties,
                             SkipReason::no_reference})
    both_ways(w, skip_reason_named);
  CHECK_FALSE(outcome_named("passed"));
  CHECK_FALSE(verdict_named("Accept"));
  CHECK_FALSE(ending_named(""));
}

TEST_CASE("reject counts before hold, hold before accept, whichever comes first") {
  using enum Verdict;
  for (const Verdict a : {accept, reject, hold}) {
    CHECK(worse(a, a) == a);
    CHECK(worse(a, reject) == reject);
    CHECK(worse(reject, a) == reject);
    for (const Verdict b : {accept, reject, hold}) CHECK(worse(a, b) == worse(b, a));
  }
  CHECK(worse(accept, hold) == hold);
}

TEST_CASE("ids with slashes in their names do not read alike") {
  CHECK(text_of({"coil-drive", "A", "inductance_H"}) == "coil-drive/A/inductance_H");
  CHECK(text_of({"temperature", "bench", ""}) == "temperature/bench");
  CHECK(text_of({"wire", "a/b", ""}) != text_of({"wire", "a", "b"}));
  CHECK(text_of({"wire", "a/b", ""}) != text_of({"wire", "a%2Fb", ""}));
}

TEST_CASE("a resistance at another temperature is another figure") {
  CHECK(resistance_at(20) == "resistance_ohm");
  CHECK(resistance_at(25) == "resistance_ohm@25");
  CHECK(resistance_at(23.5) == "resistance_ohm@23.5");
}
