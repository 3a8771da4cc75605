// Readings of other kinds: held while something moves, under load, through a harness, and
// written by hand.
#include <doctest/doctest.h>

#include <cmath>
#include <stdexcept>

#include "desk.h"
#include "diagnosis/conclusion.h"
#include "diagnosis/intermittent.h"
#include "diagnosis/observe.h"
#include "diagnosis/under_load.h"
#include "paths.h"
#include "profile/harness.h"
#include "quantity/error.h"
#include "record/readings.h"

using namespace pinproof;
using namespace pinproof::diagnosis;

namespace {

const Desk& bench() {
  static const Desk desk("six-speed-20-pin", 0,
                         {.lever = true, .tie = false, .soak = false, .source = false}, 0.005);
  return desk;
}

// What a hold between two pins at rest shows while one fault comes and goes on a drawn pack.
std::vector<Held> holds(const Guess& fault,
                        const std::vector<std::pair<std::string, std::string>>& pairs) {
  const Desk& desk = bench();
  std::vector<Held> out;
  for (const auto& [a, b] : pairs) {
    const Probe probe{ProbeKind::ohm, network::between(*desk.model.find(a), *desk.model.find(b)),
                      0};
    DrawnPack sound(desk.scene, {}, 0.005, 8), moved(desk.scene, {fault}, 0.005, 8);
    const double x = sound.read(probe).ohm, y = moved.read(probe).ohm;
    out.push_back({probe, std::min(x, y), std::max(x, y), 1.0});
  }
  return out;
}

std::string readings(const std::string& items) {
  return R"({"schema":"pinproof/readings/1","readings":[)" + items + "]}";
}

}  // namespace

TEST_CASE("one fault that comes and goes explains all that moved and all that did not") {
  const std::vector<std::pair<std::string, std::string>> pairs{
      {"1", "2"}, {"1", "4"}, {"3", "4"}, {"2", "3"}, {"17", "case"}, {"20", "case"}};
  const Desk& desk = bench();
  const Guess open{&desk.suspect("coil-open", "C"), 1};
  const Movement coil = one_mover(desk.scene, desk.suspects, holds(open, pairs));
  CHECK(coil.moved == std::vector<std::size_t>{1, 2});
  REQUIRE_FALSE(coil.movers.empty());
  CHECK(coil.movers.front().fault.suspect == open.suspect);

  // The feed moves every reading against pin 1, and none between two coils.
  const Guess feed{&desk.suspect("wire-resistance", "feed wire"), 25};
  const Movement wire = one_mover(desk.scene, desk.suspects, holds(feed, pairs));
  CHECK(wire.moved == std::vector<std::size_t>{0, 1});
  REQUIRE_FALSE(wire.movers.empty());
  CHECK(wire.movers.front().fault.suspect->part == "feed wire");
  CHECK(wire.movers.front().fault.size == doctest::Approx(25).epsilon(0.1));

  // Two circuits that no one edge joins.
  auto both = holds(open, pairs);
  both[4].most_ohm = INFINITY;
  CHECK(one_mover(desk.scene, desk.suspects, both).movers.empty());
  CHECK(one_mover(desk.scene, desk.suspects, holds({&desk.suspect("stuck-open", "L4"), 1}, pairs))
            .moved.empty());
}

TEST_CASE("a list that was not gone through is no sound pack") {
  const Desk& desk = bench();
  DrawnPack pack(desk.scene, {}, 0.005, 4);
  const auto concluded = [&](bool skip_last, double range_end) {
    Search search(desk.scene, desk.suspects, desk.probes, desk.list, desk.search);
    while (const auto choice = search.next()) {
      if (skip_last && choice->probe == desk.list.back()) {
        search.skip(choice->probe);
        continue;
      }
      Observation reading = pack.read(desk.probes[choice->probe]);
      if (std::isinf(reading.ohm)) reading.range_end = range_end;
      search.add(reading);
    }
    ConclusionInput input;
    input.scene = &desk.scene, input.suspects = &desk.suspects, input.probes = &desk.probes;
    input.list = &desk.list, input.readings = search.readings();
    input.noise_ohm = desk.noise_ohm;
    return conclude(input, search.ranking(), search.next()).outcome;
  };
  CHECK(concluded(false, 100e6) == Conclusion::End::good);
  CHECK(concluded(true, 100e6) == Conclusion::End::open);
  // An overload on a 200 ohm range is no insulation.
  CHECK(concluded(false, 200) == Conclusion::End::open);
}

TEST_CASE("load: film, heating and steady") {
  // Common practice, no source: a film breaks down under load, a joint warms up under it.
  const auto drop = [](double ampere, double at_s, double ohm) {
    return Drop{ampere, at_s, {ohm, 0.002}};
  };
  CHECK(judge_load({drop(0.01, 0, 0.8), drop(1, 0.1, 0.05), drop(1, 5, 0.05)}).conduct ==
        Conduct::film);
  CHECK(judge_load({drop(0.01, 0, 0.05), drop(1, 0.1, 0.06), drop(1, 5, 0.3)}).conduct ==
        Conduct::heating);
  CHECK(judge_load({drop(0.01, 0, 0.05), drop(2, 0.1, 0.2), drop(2, 5, 0.2)}).conduct ==
        Conduct::rising);
  CHECK(judge_load({drop(0.5, 0, 0.25), drop(2, 0.1, 0.25), drop(2, 5, 0.252)}).conduct ==
        Conduct::steady);
  // Within its own doubt nothing is said.
  CHECK(judge_load({{0.01, 0, {0.05, 0.1}}, {1, 1, {0.2, 0.1}}}).conduct == Conduct::steady);
  CHECK_THROWS_AS(judge_load({drop(1, 0, 1)}), std::invalid_argument);
}

TEST_CASE("a harness: which side of the connector") {
  const auto pack =
      profile::load_profile(pinproof::tests::source_dir() + "/profiles/four-speed-13-pin.json");
  profile::Harness harness;
  harness.name = "short";
  for (const auto& pin : pack.connector.pins)
    harness.wires.push_back({"W" + pin.number, pin.number, 0.2, ""});
  const auto both = profile::joined(pack, harness);
  const network::Model model(both);
  Scene scene(model, usual_situations(both));
  const auto suspects = suspects_of(model);
  const auto diagnosed = [&](const std::string& items) {
    const auto written = record::readings_from_json(readings(items), "r.json");
    return rank(scene, suspects, observe(scene, written, "r.json"), {});
  };
  const auto best = [](const Ranking& ranking) -> const Suspect& {
    REQUIRE_FALSE(ranking.explanations.empty());
    REQUIRE_FALSE(ranking.explanations.front().faults.empty());
    return *ranking.explanations.front().faults.front().suspect;
  };
  const std::string open =
      R"({"from":"WA","to":"WN","overload":true,"condition":{"plugged":true}})";
  // Open through the harness, and sound at the pack: the harness or its plugged contact.
  const Ranking split = diagnosed(open + R"(,{"from":"A","to":"N","ohm":24.2})");
  double outside = 0;
  for (const auto& one : split.explanations)
    if (!one.faults.empty() && one.faults.front().suspect->where != "pack: ")
      outside += one.probability;
  CHECK(outside > 0.95);
  // With the wire read from end to end, it is the contact.
  const Suspect& mate = best(diagnosed(open + R"(,{"from":"A","to":"N","ohm":24.2},)"
                                              R"({"from":"WA","to":"plug A","ohm":0.06},)"
                                              R"({"from":"WB","to":"WN","ohm":24.3,)"
                                              R"("condition":{"plugged":true}})"));
  CHECK(mate.part == "plugged contact A");
  CHECK(mate.where == "at the connector: ");
  // Open at the pack too: the pack's coil.
  const Suspect& coil = best(diagnosed(open + R"(,{"from":"A","to":"N","overload":true},)"
                                              R"({"from":"B","to":"N","ohm":24.1},)"
                                              R"({"from":"WA","to":"plug A","ohm":0.06})"));
  CHECK(coil.part == "S1");
  CHECK(coil.where == "pack: ");
  // A bridge that vanishes when unplugged at the pack is in the harness.
  const Suspect& bridge =
      best(diagnosed(R"({"from":"WE","to":"WF","ohm":0.5,"condition":{"plugged":true}},)"
                     R"({"from":"E","to":"F","overload":true},{"from":"WE","to":"WF","ohm":0.1})"));
  CHECK(bridge.kind == "bridge");
  CHECK(bridge.where == "harness: ");
}

TEST_CASE("written readings are refused with file and pointer") {
  const Desk& desk = bench();
  Scene scene = desk.scene;
  const auto complaint = [&](const std::string& items) -> std::string {
    try {
      observe(scene, record::readings_from_json(readings(items), "r.json"), "r.json");
    } catch (const Error& e) {
      CHECK(e.fault() == Fault::usage);
      return e.what();
    }
    return "";
  };
  const auto says = [&](const std::string& items, const std::string& words) {
    const std::string what = complaint(items);
    CAPTURE(what);
    CHECK(what.find("r.json: /readings/") != std::string::npos);
    CHECK(what.find(words) != std::string::npos);
  };
  CHECK(complaint(R"({"from":"1","to":"2","ohm":13})").empty());
  CHECK(complaint(R"({"from":["1","2"],"to":"case","overload":true})").empty());
  says(R"({"from":"77","to":"2","ohm":13})", "77");
  says(R"({"from":"1","to":"1","ohm":13})", "both sides");
  says(R"({"from":"1","to":"2"})", "is wanted");
  says(R"({"from":"1","to":"2","ohm":13,"overload":true})", "is wanted");
  says(R"({"from":"1","to":"2","ohm":-4})", "-4");
  says(R"({"from":"1","to":"2","ohm":13,"kohm":1})", "kohm");
  says(R"({"from":"1","to":"2","ohm":13,"condition":{"lever":"Q"}})", "Q");
  says(R"({"from":"1","to":"2","ohm":13,"condition":{"applied":["E9"]}})", "E9");
  says(R"({"from":"1","to":"2","ohm":13,"condition":{"plugged":true}})", "harness");
  says(R"({"from":"1","to":"2","share":0.5})", "drive");
}
