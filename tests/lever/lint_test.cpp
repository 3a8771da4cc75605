// What the linter refuses or warns of, facts of the trade among it.
#include <doctest/doctest.h>

#include <algorithm>
#include <set>
#include <stdexcept>

#include "lever/lint_code.h"
#include "lever/taps.h"
#include "paths.h"
#include "profile/load.h"

namespace pinproof::lever {
namespace {

constexpr double kPascalPerPsi = 6894.757;

profile::Profile load(const std::string& name) {
  return profile::load_profile(pinproof::tests::source_dir() + "/profiles/" + name + ".json");
}

bool says(const std::vector<profile::Remark>& remarks, const std::string& words,
          profile::Remark::Weight weight) {
  return std::any_of(remarks.begin(), remarks.end(), [&](const profile::Remark& r) {
    return r.weight == weight && r.text.find(words) != std::string::npos;
  });
}

constexpr auto kError = profile::Remark::Weight::error;
constexpr auto kWarning = profile::Remark::Weight::warning;

profile::Part& switch_named(profile::Profile& profile, const std::string& name) {
  for (auto& part : profile.parts)
    if (part.name == name && part.pressure_switch()) return part;
  throw std::runtime_error("no switch " + name);
}

// Common practice, no source: in the lowest forward gear exactly two elements are applied.
TEST_CASE("trade fact: two elements in the lowest forward gear") {
  for (const char* name : {"six-speed-20-pin", "four-speed-13-pin"}) {
    auto profile = load(name);
    INFO(name);
    CHECK(!says(lint_gears(profile), "lowest forward gear", kWarning));
    for (auto& gear : profile.gears)
      if (gear.name == "1") gear.applied.pop_back();
    CHECK(says(lint_gears(profile), "the lowest forward gear has 1 elements applied", kWarning));
  }
}

// Common practice, no source: commanded line pressure runs from 165 to 225 psi.
TEST_CASE("trade fact: a switch trips below 165 psi, an air test stays below 225 psi") {
  auto profile = load("six-speed-20-pin");
  REQUIRE(profile.line_pressure_Pa.has_value());
  CHECK(profile.line_pressure_Pa->low == doctest::Approx(165 * kPascalPerPsi).epsilon(0.001));
  CHECK(profile.line_pressure_Pa->high == doctest::Approx(225 * kPascalPerPsi).epsilon(0.001));
  CHECK(lint_gears(profile).empty());
  auto& one = switch_named(profile, "PS2");
  one.pressure_switch()->trip_Pa = 164 * kPascalPerPsi;
  CHECK(lint_gears(profile).empty());
  one.pressure_switch()->trip_Pa = 166 * kPascalPerPsi;
  CHECK(says(lint_gears(profile), "it may never trip", kError));
  CHECK(!says(lint_gears(profile), "the air test", kError));
  one.pressure_switch()->trip_Pa = 190 * kPascalPerPsi;  // tested with a fifth more
  CHECK(says(lint_gears(profile), "the air test of PS2", kError));
}

// Common practice, no source: the contacts form a table of yes/no lines that must decode without
// two positions sharing a code.
TEST_CASE("trade fact: no two positions share a code") {
  for (const char* name : {"six-speed-20-pin", "four-speed-13-pin"}) {
    auto profile = load(name);
    INFO(name);
    const RangeCode code = code_of(profile);
    for (std::size_t p = 0; p < code.positions.size(); ++p)
      CHECK(code.decode(code.words[p]) == std::vector{p});
    profile.lever->positions[3].code = profile.lever->positions[1].code;
    CHECK(says(profile::lint(profile), "share a code", kError));
  }
}

TEST_CASE("gears that contradict each other") {
  auto profile = load("six-speed-20-pin");
  profile.gears[4].energised = profile.gears[3].energised;
  CHECK(says(lint_gears(profile), "have the same coils and lever, and different elements", kError));
}

TEST_CASE("the code table's own dangers are told, and the safe table has none by its lines") {
  const auto four = lint_code(load("four-speed-13-pin"));
  CHECK(says(four,
             "a driving position reads park or neutral, 2: R2 swapped with R3 (R reads N), R3 "
             "swapped with R4 (R reads P)",
             kWarning));
  CHECK(says(four, "never show an invalid one", kWarning));
  const auto six = lint_code(load("six-speed-20-pin"));
  CHECK(!says(six, "reads park or neutral", kWarning));
  CHECK(!says(six, "never show an invalid one", kWarning));
}

TEST_CASE("transitions and constant codes") {
  auto profile = load("four-speed-13-pin");
  const auto code = [](const char* bits) {
    std::vector<profile::Bit> out;
    for (const char* c = bits; *c != 0; ++c)
      out.push_back(*c == '1' ? profile::Bit::open : profile::Bit::closed);
    return out;
  };
  profile.lever->positions[3].code = code("1111");
  CHECK(says(lint_code(profile), "an unplugged connector reads D", kWarning));
  // From N 0100 to D 0111 by way of 0101, if the last line leads.
  profile.lever->positions[3].code = code("0111");
  profile.lever->positions[4].code = code("0101");
  CHECK(says(lint_code(profile), "from N to D the lines may pass 0101, the code of 2", kWarning));
  // Not if the table says which leads.
  profile.lever->between.assign(5, std::vector<profile::Bit>(4, profile::Bit::any));
  profile.lever->between[2] = code("0110");
  CHECK(!says(lint_code(profile), "from N to D", kWarning));
}

}  // namespace
}  // namespace pinproof::lever
