// Trouble codes: the table against the structure of SAE J2012 codes, and what a measured pack
// says of them.
#include "diagnosis/codes.h"

#include <doctest/doctest.h>

#include <map>
#include <set>

#include "desk.h"
#include "diagnosis/conclusion.h"

using namespace pinproof;
using namespace pinproof::diagnosis;

namespace {

const Desk& bench() {
  static const Desk desk("six-speed-20-pin", 0,
                         {.lever = true, .tie = true, .soak = false, .source = true}, 0.005);
  return desk;
}

Conclusion concluded(const std::vector<Guess>& faults, const std::vector<std::string>& codes,
                     bool measure = true) {
  const Desk& desk = bench();
  SearchOptions options = desk.search;
  options.priors.weights = code_weights(desk.profile, desk.suspects, codes);
  options.priors.faulty = 0.7;
  Search search(desk.scene, desk.suspects, desk.probes, desk.list, options);
  DrawnPack pack(desk.scene, faults, desk.noise_ohm, 21);
  while (measure && search.next()) search.add(pack.read(desk.probes[search.next()->probe]));
  ConclusionInput input;
  input.scene = &desk.scene, input.suspects = &desk.suspects, input.probes = &desk.probes;
  input.list = &desk.list, input.codes = codes;
  input.readings = search.readings();
  input.noise_ohm = desk.noise_ohm;
  return conclude(input, search.ranking(), search.next());
}

double of_part(const Conclusion& c, const std::string& part) {
  for (const auto& [name, probability] : c.by_part)
    if (name == part) return probability;
  return 0;
}

}  // namespace

TEST_CASE("the table") {
  // A generic code is P0 or P2 with three hexadecimal digits (SAE J2012, from memory).
  std::set<std::string_view> seen;
  for (const GenericTroubleCode& code : code_table()) {
    const std::string name(code.code);
    CAPTURE(name);
    CHECK(name.size() == 5);
    CHECK((name.starts_with("P0") || name.starts_with("P2")));
    CHECK(name.find_first_not_of("0123456789ABCDEF", 1) == std::string::npos);
    CHECK(seen.insert(code.code).second);
    CHECK_FALSE(code.kind.empty());
    CHECK_FALSE(code.bench.empty());
  }
  CHECK(code_table().size() == 261);
  REQUIRE(find_code("P0871") != nullptr);
  CHECK(find_code("P0871")->component == "fluid_pressure_sensor_switch");
  // The pair that is reversed in the standard: high comes before low.
  CHECK(find_code("P2763")->kind == "high");
  CHECK(find_code("P2764")->kind == "low");
  CHECK(find_code("P9999") == nullptr);
}

TEST_CASE(
    "P0871 and P0988: a bad pack and a poor ground both rank before measurement, "
    "and the bench tells which") {
  // Common practice, no source: range and performance codes of two pressure switches at once.
  const std::vector<std::string> codes{"P0871", "P0988"};
  const Conclusion before = concluded({}, codes, false);
  double switches = 0;
  for (const std::string name : {"PS1", "PS2", "PS3", "PS4", "PS5"})
    switches += of_part(before, name);
  CHECK(switches > 0.05);
  CHECK(of_part(before, "ground wire") > 0.05);
  CHECK(of_part(before, "A") < 0.01);  // a coil would not set them
  for (const auto& code : before.codes) CHECK(code.standing == CodeStanding::not_settled);

  const Conclusion ground =
      concluded({Guess{&bench().suspect("high-resistance-ground", "ground wire"), 40}}, codes);
  REQUIRE_FALSE(ground.named.empty());
  CHECK(ground.named.front().faults.at(0).suspect->part == "ground wire");
  for (const auto& code : ground.codes) CHECK(code.standing == CodeStanding::explained);

  const Conclusion pack = concluded({Guess{&bench().suspect("stuck-open", "PS3"), 1}}, codes);
  REQUIRE_FALSE(pack.named.empty());
  CHECK(pack.named.front().faults.at(0).suspect->part == "PS3");

  const Conclusion sound = concluded({}, codes);
  CHECK(sound.outcome == Conclusion::End::good);
  for (const auto& code : sound.codes) {
    CHECK(code.standing == CodeStanding::exonerated);
    CHECK(code.why.find("hydraulics") != std::string::npos);
  }
}

TEST_CASE("low and high flip with the side that the controller drives") {
  // Common practice, no source.
  const Desk low("six-speed-20-pin", 0,
                 {.lever = true, .tie = false, .soak = false, .source = false});
  const Desk high("four-speed-13-pin", 0,
                  {.lever = true, .tie = false, .soak = false, .source = false});
  const GenericTroubleCode &reads_low = *find_code("P0973"), &reads_high = *find_code("P0974");
  CHECK(explains(low.profile, reads_low, low.suspect("coil-open", "A"), 1));
  CHECK_FALSE(explains(low.profile, reads_high, low.suspect("coil-open", "A"), 1));
  CHECK(explains(low.profile, reads_high, low.suspect("coil-shorted", "A"), 0.1));
  CHECK(explains(high.profile, reads_high, high.suspect("coil-open", "S1"), 1));
  CHECK_FALSE(explains(high.profile, reads_low, high.suspect("coil-open", "S1"), 1));
  CHECK(explains(high.profile, reads_low, high.suspect("coil-shorted", "S1"), 0.1));
}

TEST_CASE(
    "codes that the found fault would not set, that no resistance settles, that nobody knows") {
  const Guess open{&bench().suspect("coil-open", "A"), 1};
  const Conclusion c = concluded({open}, {"P0973", "P0974", "P0752", "P0754", "P0731", "P1234"});
  std::map<std::string, const CodeVerdict*> by_code;
  for (const auto& code : c.codes) by_code[code.code] = &code;
  CHECK(by_code.at("P0973")->standing == CodeStanding::explained);
  CHECK(by_code.at("P0974")->standing == CodeStanding::second_cause);
  CHECK(by_code.at("P0752")->standing == CodeStanding::not_settled);  // stuck on: a valve
  CHECK(by_code.at("P0752")->test.find("plunger") != std::string::npos);
  CHECK(by_code.at("P0731")->standing == CodeStanding::not_electrical);
  CHECK(by_code.at("P1234")->standing == CodeStanding::unknown);
  // An intermittent one is cleared by no reading at rest.
  const Conclusion sound = concluded({}, {"P0754"});
  CHECK(sound.codes.at(0).standing == CodeStanding::not_settled);
}
