// Where physics tells two faults apart, and where it does not.
#include "waveform/causes.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "tables/capture_csv.h"
#include "waveform/files.h"

using namespace pinproof::waveform;
using pinproof::Estimate;

namespace {

CoilFigures spice(const char* name) {
  return analyse(
      pinproof::tables::read_capture_csv(data_file("spice/" + std::string(name) + ".csv"), {})
          .capture,
      {});
}

ExpectedTraits healthy() {
  const GoodCapture good{spice("healthy_diode"), {1, 0.004}};
  return learn_expected(std::span(&good, 1));
}

// Of 1 K of copper at 20 degrees (IEC 60028), and of a workshop nobody measured.
constexpr Estimate kKnown{1, 0.004}, kGuessed{1, 0.04};

}  // namespace

TEST_CASE("a joint and a warm winding are told apart by the thermometer alone") {
  const auto joint = spice("contact_plus_3ohm"), warm = spice("hot_120C");
  const auto with = explain(joint, kKnown, healthy());
  REQUIRE(with.size() == 1);
  CHECK(with[0].kind == "series-resistance");
  CHECK(with[0].rivals.empty());
  const auto without = explain(joint, kGuessed, healthy());
  REQUIRE(without.size() == 1);
  CHECK((without[0].kind == "series-resistance" || without[0].kind == "warmer-than-told"));
  CHECK(without[0].rivals.size() == 1);
  // The hot coil is a good one once its 120 degrees are known.
  CHECK(explain(warm, {1.39293, 0.006}, healthy()).empty());
  CHECK_FALSE(explain(warm, kKnown, healthy()).empty());
}

TEST_CASE("a good unit is left alone, and each fault of the reference set is named") {
  CHECK(explain(spice("healthy_diode"), kKnown, healthy()).empty());
  const auto shorted = explain(spice("shorted_10pct"), kKnown, healthy());
  REQUIRE(shorted.size() == 1);
  CHECK(shorted[0].kind == "shorted-turns");
  CHECK(shorted[0].probability > 0.99);
  const auto stuck = explain(spice("stuck_open"), kKnown, healthy());
  REQUIRE(stuck.size() == 1);
  CHECK(stuck[0].kind == "stuck-at-rest");
  // The zener where a diode was: another clamp, and nothing else.
  const auto zener = explain(spice("healthy_zener30"), kKnown, healthy());
  REQUIRE(zener.size() == 1);
  CHECK(zener[0].kind == "suppression-missing");
}

TEST_CASE("without anything expected nothing is found") {
  ExpectedTraits nothing;

  CHECK(explain(spice("shorted_10pct"), kKnown, nothing).empty());
}

TEST_CASE("the table of causes is sound") {
  double sum = 0;
  std::set<std::string_view> kinds;
  for (const Cause& cause : causes()) {
    CAPTURE(cause.kind);
    sum += cause.prior;
    CHECK(cause.prior > 0);
    CHECK(cause.least > 0);
    CHECK(cause.most >= cause.least);
    CHECK_FALSE(cause.says.empty());
    const TraitShift shift = cause.shift(cause.most, {13, 0.012, 1.8});
    CHECK(std::all_of(shift.by.begin(), shift.by.end(), [](double x) { return std::isfinite(x); }));
    kinds.insert(cause.kind);
  }
  CHECK(sum == doctest::Approx(1).epsilon(0.05));
  CHECK(kinds.contains(""));  // the good unit
}
