// One decided case for each class of fault, with what it is easily taken for. The packs are drawn
// within the profile's own limits (invented for the demo); that these faults exist and look like
// this is common practice, no source.
#include <doctest/doctest.h>

#include <string>

#include "desk.h"

using namespace pinproof;
using namespace pinproof::diagnosis;

namespace {

const Desk& bench() {
  static const Desk desk("six-speed-20-pin", 0,
                         {.lever = true, .tie = true, .soak = true, .source = true}, 0.005);
  return desk;
}

struct Case {
  const char* row;
  std::string kind, part;  // of the suspect; or of a pair
  std::string other;       // second pin of a pair
  double size;
};

const Suspect& suspect_of(const Case& c) {
  return c.other.empty() ? bench().suspect(c.kind, c.part) : bench().pair(c.kind, c.part, c.other);
}

}  // namespace

TEST_CASE("every class of fault is named, or grouped with what no probe tells from it") {
  const std::vector<Case> cases{
      {"coil open", "coil-open", "C", "", 1},
      {"feed open", "wire-open", "feed wire", "", 1},
      {"feed high resistance", "wire-resistance", "feed wire", "", 1.5},
      {"coil short", "coil-shorted", "B", "", 0.2},
      {"turn short", "shorted-turns", "D", "", 0.2},
      {"coil joint", "coil-joint", "E", "", 6},
      {"coil film", "coil-film", "E", "", 6},
      {"joint that heats", "coil-heating-joint", "E", "", 6},
      {"coil to coil leak", "bridge", "3", "4", 60},
      {"winding to case leak", "winding-to-case", "C", "", 50e3},
      {"hot insulation", "hot-insulation", "C", "", 300e3},
      {"feed to case leak", "bridge", "1", "case", 50e3},
      {"lost ground", "lost-ground", "ground wire", "", 1},
      {"high-resistance ground", "high-resistance-ground", "ground wire", "", 3},
      {"film on the ground", "ground-film", "ground wire", "", 3},
      {"broken strands", "wire-resistance", "feed wire", "", 0.25},
      {"contact stuck closed", "stuck-closed", "L2", "", 0.6},
      {"switch stuck closed", "stuck-closed", "PS2", "", 1.5},
      {"contact stuck open", "stuck-open", "L4", "", 1},
      {"switch stuck open", "stuck-open", "PS1", "", 1},
      {"burnt contact", "contact-resistance", "L3", "", 40},
      {"series resistor bypassed", "series-shorted", "PS5", "", 0.5},
      {"thermistor open", "thermistor-open", "fluid thermistor", "", 1},
      {"thermistor short", "thermistor-shorted", "fluid thermistor", "", 0.2},
      {"thermistor drift", "thermistor-drift", "fluid thermistor", "", 0.5},
      {"swap", "swap", "13", "14", 1},
      {"mis-pinned row", "mis-pinned-row", "13", "", 1},
      {"bridge", "bridge", "9", "10", 0.05},
      {"pin open", "pin-open", "12", "", 1},
      {"metal debris", "leak", "9", "case", 200e3},
      {"water", "contaminated-connector", "connector", "", 300e3},
  };
  SearchOptions options = bench().search;
  options.shared.warmth_K = 2;
  for (const Case& c : cases) {
    const Suspect& truth = suspect_of(c);
    Search done = bench().run({Guess{&truth, c.size}}, 17, options);
    const std::string row = c.row;
    CAPTURE(row);
    REQUIRE_FALSE(done.normal());
    const auto& found = done.ranking().explanations;
    REQUIRE_FALSE(found.empty());
    const Explanation& best = found.front();
    REQUIRE(best.faults.size() == 1);
    const std::string named = best.faults[0].suspect->text;
    CAPTURE(named);
    CHECK(best.faults[0].suspect == &truth);
    CHECK(best.probability > 0.85);
    if (truth.sized()) CHECK(std::abs(std::log(best.faults[0].size / c.size)) < std::log(2.5));
  }
}

TEST_CASE("what a bench at rest cannot see is said, with the test that would see it") {
  Desk meter("six-speed-20-pin", 0, {.lever = true, .tie = false, .soak = false, .source = false},
             0.005);
  const auto c = coverage_of({&meter.scene, &meter.suspects, &meter.probes, meter.noise_ohm});
  bool swap = false, load = false, leak_place = false;
  for (const Group& group : c.groups) {
    const std::string why = why_unseen(meter.scene, group);
    if (is_equal_part_swap(meter.model, *group.fault.suspect))
      swap = why.find("drive each coil") != std::string::npos;
    if (group.fault.suspect->kind == "coil-heating-joint")
      load = why.find("under current") != std::string::npos;
    // Without a source the place of a leak along the coils is an honest group.
    if (group.fault.suspect->kind == "winding-to-case" && group.fault.size > 1e3)
      leak_place = group.alike.size() >= 6;
  }
  CHECK(swap);
  CHECK(load);
  CHECK(leak_place);
}

TEST_CASE("two case leaks are not taken for a leak between coils") {
  const Suspect& one = bench().pair("bridge", "3", "case");
  const Suspect& other = bench().pair("bridge", "4", "case");
  SearchOptions options = bench().search;
  options.thorough = true;
  Search done = bench().run({Guess{&one, 30}, Guess{&other, 20e3}}, 5, options);
  REQUIRE_FALSE(done.ranking().explanations.empty());
  const auto& best = done.ranking().explanations.front();
  REQUIRE_FALSE(best.faults.empty());
  for (const Guess& guess : best.faults) {
    const std::string text = guess.suspect->text;
    CAPTURE(text);
    CHECK_FALSE(guess.suspect == &bench().pair("bridge", "3", "4"));
  }
}

TEST_CASE("a fault on top of another is named with it when the list is gone through") {
  SearchOptions thorough = bench().search;
  thorough.thorough = true;
  const Guess one{&bench().suspect("shorted-turns", "B"), 0.25};
  const Guess other{&bench().suspect("stuck-open", "L4"), 1};
  Search done = bench().run({one, other}, 3, thorough);
  REQUIRE_FALSE(done.ranking().explanations.empty());
  CHECK(same_faults(done.ranking().explanations.front().faults, {one, other}));
}
