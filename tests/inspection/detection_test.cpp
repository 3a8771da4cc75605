// What an inspection is sure to notice: numbers worked by hand from the profiles' limits.
#include "inspection/sight/detection.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>

#include "paths.h"
#include "profile/load.h"

using namespace pinproof;
using doctest::Approx;
using inspection::Capabilities;
using inspection::Detection;
using inspection::DetectionLimits;

namespace {

profile::Profile load(const std::string& name) {
  return profile::load_profile(pinproof::tests::source_dir() + "/profiles/" + name + ".json");
}

// A meter without any error, so that limits and temperature are all there is.
metrology::AccuracyTable perfect() {
  metrology::AccuracyTable out;
  for (const char* function : {"ohm-4w", "ohm-2w"})
    for (const double range : {100.0, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8}) {
      out.emplace_back();
      out.back().function = function, out.back().range = range, out.back().over = 1.2;
    }
  return out;
}

Capabilities everything() {
  Capabilities can;
  can.tie = can.drive = can.lever = can.celsius = can.reference = can.high_reference = true;
  return can;
}

DetectionLimits limits(const std::string& name, const Capabilities& can = everything(),
                       bool four_wire = true, double contact_u = 0.03) {
  static const auto six = load("six-speed-20-pin"), four = load("four-speed-13-pin");
  return detection_limits(name == "six" ? six : four, can, perfect(), four_wire, contact_u, 0.3);
}

const Detection* find(const DetectionLimits& all, const std::string& part, const std::string& fault,
                      const std::string& other = "", bool below = false, bool full = false) {
  const auto at = std::find_if(all.sure.begin(), all.sure.end(), [&](const Detection& one) {
    return one.part == part && one.fault == fault && one.other == other &&
           (!one.sized || one.below == below) && one.full == full;
  });
  return at == all.sure.end() ? nullptr : &*at;
}

double size_of(const DetectionLimits& all, const std::string& part, const std::string& fault,
               bool below = false, bool full = false) {
  const auto* one = find(all, part, fault, "", below, full);
  return one ? one->size : std::nan("");
}

bool doubted(const DetectionLimits& all, const std::string& part, const std::string& fault) {
  return std::any_of(all.not_sure.begin(), all.not_sure.end(), [&](const auto& one) {
    return one.part == part && one.fault == fault && !one.why.empty();
  });
}

}  // namespace

// Copper from memory of IEC 60028: R ~ 234.5 + t, so 15 and 30 °C are 0.98035 and 1.03929 of 20 °C.
TEST_CASE("six-speed: coils by their limits and by their set") {
  const auto all = limits("six");
  // 2 x 4 % of a coil at 12.4 ohm with up to 0.1 ohm of feed before it: 8 (1 + 0.1 / 12.4).
  CHECK(size_of(all, "coil A", "shorted-turns") == Approx(8.0645).epsilon(1e-4));
  // (13.6 x 1.03929 + 0.1) (0.96 x 0.04 + 0.04) / 0.96, against 1.36 + by limits.
  CHECK(size_of(all, "coil A", "joint") == Approx(1.16244).epsilon(1e-4));
  // U of 5.7 ohm at 0.583 K: 2 x 5.7 / 249.5 x 0.5831 = 0.02664; (5.7 - 5.1 + 0.02664) x 1.03929.
  CHECK(size_of(all, "coil V", "joint") == Approx(0.65126).epsilon(1e-3));
  CHECK(size_of(all, "coil A", "film", false, true) ==
        Approx(0.06 / 0.94 * 13.6 * 1.03929).epsilon(1e-4));
  CHECK(size_of(all, "coil A", "heating-joint", false, true) == Approx(0.84806).epsilon(1e-4));
  CHECK(size_of(all, "coil A", "case-leak", true) == Approx(9e6));
  CHECK(size_of(all, "coil A", "hot-insulation", true) == Approx(9e6 / std::sqrt(2)));
  CHECK(find(all, "coil A", "suppression-missing", "", false, true));
  CHECK(find(all, "coil A", "suppression-shorted"));
  CHECK(doubted(all, "coil V", "stuck-open"));
}

TEST_CASE(
    "a bypass of the limit takes the worst good coil below its limit, by the formula itself") {
  const auto all = limits("four");
  const double x = size_of(all, "coil PC", "shorted", true);  // 4.3 to 4.8 ohm, no wire, no set
  const double cold = 4.8 * 0.98035;
  CHECK(cold * x / (cold + x) / 0.98035 == Approx(4.3 - 2 * 4.8 / 249.5 * 0.58310).epsilon(1e-4));
}

TEST_CASE("contacts: what another good one may add at most") {
  const auto six = limits("six"), four = limits("four");
  CHECK(size_of(six, "switch PS1", "contact-resistance") == Approx(5));
  CHECK(size_of(six, "contact L1", "contact-resistance") == Approx(2));
  CHECK(size_of(six, "switch PS4", "contact-resistance") == Approx(344 + 5 - 316));
  CHECK(size_of(six, "switch PS4", "series-drift") == Approx(100 * (349.0 / 316 - 1)));
  CHECK(size_of(six, "switch PS4", "series-drift", true) == Approx(100 * (311.0 / 344 - 1)));
  // 1.2 x 520 kPa at a gauge 5 % high, against one that trips as early as it must be back.
  CHECK(size_of(six, "switch PS1", "trip-high") == Approx(100 * (1.2 * 520 * 1.05 / 380 - 1)));
  CHECK(size_of(four, "switch PSB", "trip-high") == Approx(100 * (1.2 * 450 * 1.05 / 310 - 1)));
  for (const char* fault : {"stuck-closed", "stuck-open"}) {
    CHECK(find(six, "contact reverse", fault));
    CHECK(find(six, "switch PS3", fault));
  }
  CHECK(find(six, "switch PS1", "chatters")->by_chance);
  CHECK(doubted(six, "switch PS3", "chatters"));
  CHECK(doubted(six, "contact L1", "intermittent"));
}

TEST_CASE("wires: their limit, and what two-wire contacts scatter") {
  CHECK(size_of(limits("six"), "wire feed wire", "resistance") == Approx(0.1));
  CHECK(size_of(limits("six"), "wire ground wire", "resistance") == Approx(0.1));
  const auto two = limits("six", everything(), false, 0.03);
  CHECK(size_of(two, "wire ground wire", "resistance") == Approx(0.1 + 2 * std::sqrt(2.0) * 0.03));
}

TEST_CASE("thermistor: from one end of its tolerance beyond the other") {
  const auto all = limits("four");
  // 2 x 3 K + 2 x 0.5831 K colder than 15 °C, by the profile's own curve.
  const auto profile = load("four-speed-13-pin");
  const auto& curve = *profile.find_part("fluid thermistor")->thermistor();
  const double shift = 6 + 2 * std::hypot(0.3, 0.5);
  CHECK(size_of(all, "thermistor fluid thermistor", "drift") ==
        Approx(100 * (*thermistor_ohm(curve, 15 - shift) / *thermistor_ohm(curve, 15) - 1)));
  CHECK(size_of(all, "thermistor fluid thermistor", "drift", true) < -20);
}

TEST_CASE("pins: what the circuits, codes and equal parts allow") {
  const auto six = limits("six"), four = limits("four");
  CHECK(find(six, "pin 9", "leak", "10"));
  CHECK_FALSE(find(six, "pin 2", "leak", "3"));  // both behind the feed's splice
  CHECK(find(six, "pin 2", "bridge", "3"));
  CHECK_FALSE(find(six, "pin 2", "swap", "3"));  // equal coils
  CHECK(find(six, "pin 2", "swap", "8"));        // 13 ohm and 5 ohm
  CHECK(find(six, "pin 13", "swap", "14"));
  // In the four-speed table R3 closes where the start permit does, and nowhere else.
  CHECK_FALSE(find(four, "pin J", "swap", "L"));
  CHECK_FALSE(find(four, "pin A", "debris"));  // its coil ends at the case
  CHECK(find(four, "pin G", "debris", "", true));
  CHECK(find(four, "pin A", "bridge", "B"));
  CHECK(doubted(six, "pack", "mis-pinned 3-6"));
  CHECK(find(six, "pack", "mis-pinned", "9-12"));
}

TEST_CASE("a bench that lacks something promises less, and says so") {
  Capabilities can = everything();
  can.drive = false;
  const auto at_rest = limits("six", can);
  CHECK(std::none_of(at_rest.sure.begin(), at_rest.sure.end(),
                     [](const Detection& one) { return one.full; }));
  CHECK(doubted(at_rest, "coil A", "stuck-open"));
  can.lever = false;
  const auto still = limits("six", can);
  CHECK(doubted(still, "contact L1", "stuck-open"));
  CHECK_FALSE(find(still, "switch PS1", "trip-high"));
  can.celsius = false;
  CHECK(doubted(limits("six", can), "coil V", "joint"));  // no set to compare it with
  CHECK(find(limits("six", can), "coil A", "joint"));
}
