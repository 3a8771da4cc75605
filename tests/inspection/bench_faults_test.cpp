// Faults of the bench at rest, from the first reading on or in mid-run: each is blamed on the
// bench, by the words that help, and no good pack is rejected.
#include <doctest/doctest.h>

#include <algorithm>

#include "inspection/rig.h"

using namespace pinproof;
using namespace pinproof::inspection;
using tests::inspect;
using tests::load;

namespace {

struct Blamed {
  const char* fault;
  const char* words;
};

bool says(const Judgement& judgement, const std::string& words) {
  return std::any_of(judgement.results.begin(), judgement.results.end(), [&](const Result& r) {
    return r.outcome == Outcome::bench_fault &&
           (r.title + ": " + r.text).find(words) != std::string::npos;
  });
}

}  // namespace

TEST_CASE("a fault of the bench is blamed on the bench") {
  const Blamed all[] = {
      {"bench: relay-welded 1!3", "All relays of the high lead open"},
      {"bench: relay-welded 3!3", "Relays of the other rows open"},
      {"bench: relay-open 2!4", "Relays close at every terminal"},
      {"bench: relay-open 2!4 from 60", "Relays close at every terminal, after"},
      {"bench: range-stuck 100", "High reference resistor"},
      {"bench: range-drift 2 %", "Reference resistor"},
      {"bench: meter-drift 2 % from 60", "Reference resistor, after"},
      {"bench: overload", "Leads shorted"},
      {"bench: lead-resistance 659 from 60", "range of 1.00 kΩ only, lower before"},
  };
  for (const char* name : {"six-speed-20-pin", "four-speed-13-pin"})
    for (const Blamed& one : all) {
      CAPTURE(name);
      CAPTURE(std::string(one.fault));
      const auto run = inspect(load(name), 5, {one.fault}, false);
      CHECK(run.exit_code == 4);
      CHECK(says(run.judgement, one.words));
    }
}

TEST_CASE("a lead that goes bad under a switch that is read rejects no pack") {
  for (int from = 150; from <= 230; from += 4) {
    CAPTURE(from);
    const std::string fault = "bench: lead-resistance 659 from " + std::to_string(from);
    CHECK(inspect(load("four-speed-13-pin"), 5, {fault}, false).exit_code != 1);
  }
}
