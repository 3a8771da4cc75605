// Figures against the true states of simulated solenoids (tests/data/spice).
#include <doctest/doctest.h>

#include <cmath>
#include <map>
#include <sstream>

#include "tables/capture_csv.h"
#include "waveform/bench_coil.h"
#include "waveform/coil_figures.h"
#include "waveform/files.h"

using namespace pinproof::waveform;

namespace {

using Row = std::map<std::string, double>;

// events.csv by run and column; an empty cell is NaN.
const std::map<std::string, Row>& events() {
  static const auto table = [] {
    std::map<std::string, Row> out;
    std::istringstream in(data_file("spice/events.csv"));
    std::string line, cell;
    std::vector<std::string> names;
    while (std::getline(in, line)) {
      std::istringstream cells(line);
      std::vector<std::string> row;
      while (std::getline(cells, cell, ',')) row.push_back(cell);
      if (names.empty()) {
        names = row;
        continue;
      }
      for (std::size_t c = 1; c < row.size(); ++c)
        out[row[0]][names[c]] = row[c].empty() ? NAN : std::stod(row[c]);
    }
    return out;
  }();
  return table;
}

Capture capture_of(const std::string& name) {
  const auto read = pinproof::tables::read_capture_csv(data_file("spice/" + name + ".csv"), {});
  REQUIRE(read.voltage_header == "v_coil_V");
  REQUIRE(read.current_header == "i_A");
  return read.capture;
}

struct ExpectedTraits {
  const char* name;
  double ohm;
  double henry;  // 0: not known in closed form
};

// R and L from the netlist's parameters (tests/data/spice/README.md).
constexpr double kL = 35.3e-6 / (1.1e-3 + 0.6e-6) + 1e-3;
constexpr double kStuckL = 35.3e-6 / (1.1e-3 + 20e-6) + 1e-3;
const std::vector<ExpectedTraits> kMoving{{"healthy_diode", 13.0, kL},
                                          {"healthy_zener30", 13.0, kL},
                                          {"contact_plus_3ohm", 16.0, kL},
                                          {"hot_120C", 18.109, kL},
                                          {"shorted_10pct", 11.7, 0}};

void check_moving(const ExpectedTraits& e, const CoilFigures& f, double r_within, double l_within) {
  CAPTURE(e.name);
  const Row& true_ms = events().at(e.name);
  REQUIRE(f.status == Status::ok);
  CHECK(f.resistance_ohm.value == doctest::Approx(e.ohm).epsilon(r_within));
  if (e.henry > 0) CHECK(f.inductance_H.value == doctest::Approx(e.henry).epsilon(l_within));
  CHECK(f.plunger == Plunger::moved);
  REQUIRE(f.pull_in);
  CHECK(std::abs(f.pull_in->at_s * 1e3 - true_ms.at("t_seat_ms")) < 0.1);
  CHECK(std::abs(f.current_peak->at_s * 1e3 - true_ms.at("t_peak_ms")) < 0.1);
  CHECK(f.pull_in->current_A == doctest::Approx(true_ms.at("i_valley_A")).epsilon(0.02));
  CHECK(f.current_peak->current_A == doctest::Approx(true_ms.at("i_peak_A")).epsilon(0.01));
  CHECK(f.final_current_A.value == doctest::Approx(true_ms.at("i_final_A")).epsilon(0.005));
}

}  // namespace

TEST_CASE("noise-free simulated coils give their true figures") {
  for (const ExpectedTraits& e : kMoving) {
    const auto f = analyse(capture_of(e.name), {});
    REQUIRE(f.pull_in);
    MESSAGE(e.name, ": R ", f.resistance_ohm.value, " L ", f.inductance_H.value * 1e3, " mH seat ",
            f.pull_in->at_s * 1e3, " of ", events().at(e.name).at("t_seat_ms"), " ms release ",
            f.release_s.value * 1e3, " of ", events().at(e.name).at("t_back_ms"), " ms");
    check_moving(e, f, 0.001, 0.005);
    CHECK(std::abs(f.release_s.value * 1e3 - events().at(e.name).at("t_back_ms")) < 0.2);
    // The whole linkage: the plunger's and the leakage's 1 mH.
    const Row& row = events().at(e.name);
    if (e.henry > 0)
      CHECK(f.flux_linkage_Vs.value * 1e3 ==
            doctest::Approx(row.at("lambda_end_mVs") + row.at("i_final_A")).epsilon(0.01));
    CHECK(f.inductance_growth.value > 1.7);
  }
}

TEST_CASE("clamp voltages of a diode and of a 30 V zener are told apart") {
  const auto diode = analyse(capture_of("healthy_diode"), {});
  CHECK(diode.suppression == SeenSuppression::diode);
  CHECK(diode.clamp_V.value == doctest::Approx(0.68).epsilon(0.05));
  const auto zener = analyse(capture_of("healthy_zener30"), {});
  CHECK(zener.suppression == SeenSuppression::zener);
  // events.csv: the switched node's largest, less the battery's 13.5 V.
  CHECK(zener.clamp_V.value == doctest::Approx(44.17 - 13.5).epsilon(0.01));
}

TEST_CASE("a stuck plunger shows no motion") {
  const auto f = analyse(capture_of("stuck_open"), {});
  REQUIRE(f.status == Status::ok);
  CHECK(f.plunger == Plunger::no_motion_seen);
  CHECK_FALSE(f.pull_in);
  CHECK_FALSE(f.current_peak);
  CHECK(f.inductance_H.value == doctest::Approx(kStuckL).epsilon(0.005));
  CHECK(f.inductance_growth.value == doctest::Approx(1).epsilon(0.02));
  CHECK(std::isnan(f.release_s.value));
}

// A tenth of the turns shorted: R falls by a tenth, L = tau R a by 1 - 0.9^2
// and the fast jump grows (transformer equations; sizes seen in the simulation).
TEST_CASE("shorted turns lower R and L and raise the fast jump") {
  const auto good = analyse(capture_of("healthy_diode"), {});
  const auto bad = analyse(capture_of("shorted_10pct"), {});
  CHECK(bad.resistance_ohm.value / good.resistance_ohm.value ==
        doctest::Approx(0.90).epsilon(0.002));
  CHECK(bad.inductance_H.value / good.inductance_H.value == doctest::Approx(0.81).epsilon(0.01));
  CHECK(bad.eddy_fraction.value == doctest::Approx(0.781).epsilon(0.005));
  CHECK(good.eddy_fraction.value == doctest::Approx(0.865).epsilon(0.005));
  CHECK(bad.plunger == Plunger::moved);
}

TEST_CASE("noise and a digitiser's steps leave the figures standing") {
  double worst_r = 0, worst_l = 0, worst_seat = 0;
  for (const double noise : {0.002, 0.005})
    for (std::uint32_t seed = 1; seed <= 10; ++seed)
      for (const ExpectedTraits& e : kMoving) {
        CAPTURE(noise);
        CAPTURE(seed);
        const auto f = analyse(digitise(capture_of(e.name), noise, 12, seed), {});
        check_moving(e, f, 0.01, 0.03);
        if (f.release_s.usable())
          CHECK(std::abs(f.release_s.value * 1e3 - events().at(e.name).at("t_back_ms")) < 0.6);
        worst_r = std::max(worst_r, std::abs(f.resistance_ohm.value / e.ohm - 1));
        if (e.henry > 0) worst_l = std::max(worst_l, std::abs(f.inductance_H.value / e.henry - 1));
        worst_seat = std::max(
            worst_seat, std::abs(f.pull_in->at_s * 1e3 - events().at(e.name).at("t_seat_ms")));
      }
  MESSAGE("worst of 100: R ", worst_r * 100, " %, L ", worst_l * 100, " %, seat ", worst_seat,
          " ms");
  for (std::uint32_t seed = 1; seed <= 10; ++seed) {
    const auto stuck = analyse(digitise(capture_of("stuck_open"), 0.005, 12, seed), {});
    CHECK(stuck.plunger == Plunger::no_motion_seen);
    CHECK(std::isnan(stuck.release_s.value));
  }
}

TEST_CASE("without a voltage channel the supply's voltage stands in") {
  Capture capture = digitise(capture_of("healthy_diode"), 0.002, 12, 5);
  capture.voltage_V.clear();
  CHECK(analyse(capture, {}).status == Status::no_voltage);
  AnalysisOptions options;
  options.supply_V = 13.38;  // as measured at the coil while it is on
  const auto f = analyse(capture, options);
  REQUIRE(f.status == Status::ok);
  CHECK(f.resistance_ohm.value == doctest::Approx(13.0).epsilon(0.01));
  CHECK(f.inductance_H.value == doctest::Approx(kL).epsilon(0.03));
  CHECK(f.plunger == Plunger::moved);
  REQUIRE(f.pull_in);
  CHECK(std::abs(f.pull_in->at_s * 1e3 - 3.650) < 0.1);
  CHECK(std::isnan(f.clamp_V.value));
  CHECK(f.suppression == SeenSuppression::not_judged);
}

TEST_CASE("a variable-force coil's plunger is not judged by its dip") {
  AnalysisOptions options;
  options.coil_class = PlungerAction::variable;
  const auto f = analyse(capture_of("healthy_diode"), options);
  CHECK(f.plunger == Plunger::not_judged);
  CHECK_FALSE(f.plunger_reason.empty());
}
