// The report of a gauge study, with the published crossed example of tests/data/statistics.
#include "report/gauge.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>
#include <string>
#include <utility>
#include <vector>

#include "paths.h"
#include "report/control_chart.h"
#include "tables/gauge_csv.h"

using namespace pinproof;
using report::GaugeCase;
using report::GaugeFit;

namespace {

// The tab-separated data set in the form that people hand in.
std::string published_csv() {
  std::ifstream in(pinproof::tests::data_dir() + "/statistics/grr_aiag_data.tsv");
  REQUIRE(in);
  std::string out = "part,operator,repeat,value\n";
  bool head = true;
  for (std::string line; std::getline(in, line);) {
    if (line.empty() || line[0] == '#' || std::exchange(head, false)) continue;
    std::replace(line.begin(), line.end(), '\t', ',');
    out += line + "\n";
  }
  return out;
}

GaugeCase published(int pool = -1) {
  const auto table = pinproof::tables::parse_gauge_csv(published_csv(), "published");
  GaugeCase out;
  out.study = metrology::gauge_study(table.values, pool);
  out.parts = table.parts.size(), out.operators = table.operators.size();
  out.repeats = table.repeats;
  out.unit = "Ω", out.quantity = "Resistance", out.pool = pool;
  out.part_names = table.parts, out.operator_names = table.operators, out.values = table.values;
  return out;
}

// Lines joined, so that words are found wherever they were wrapped.
std::string unwrapped(const std::string& text) {
  std::string out;
  for (const char c : text)
    if (c != '\n' && c != ' ')
      out += c;
    else if (!out.ends_with(' '))
      out += ' ';
  return out;
}

void check_words(const GaugeCase& one, std::initializer_list<const char*> words) {
  const std::string text = unwrapped(report::gauge_text(one));
  for (const char* w : words) CHECK_MESSAGE(text.find(w) != std::string::npos, w << "\n" << text);
}

void check_columns(const std::string& text) {
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);) {
    const auto used = std::count_if(line.begin(), line.end(), [](char c) {
      return (static_cast<unsigned char>(c) & 0xC0) != 0x80;
    });
    CHECK_MESSAGE(used <= 80, line);
  }
}

report::ChartCase chart_of(const std::vector<double>& ohms,
                           const std::optional<metrology::Certificate>& certificate = {}) {
  report::ChartCase out;
  out.bench = "B1", out.check = "Reference resistor, before", out.certificate = certificate;
  for (std::size_t k = 0; k < ohms.size(); ++k) {
    const std::string day = std::to_string(10 + k % 18);
    out.at.push_back("2024-05-" + day + "T08:00:00Z");
    out.readings.push_back({ohms[k], 0.01});
  }
  out.basis = ohms.size() < 10 ? metrology::basis_from_certificate(*certificate, 0)
                               : metrology::basis_from_readings(ohms, 10, 0);
  out.points = metrology::control_points(out.readings, out.basis, certificate);
  return out;
}

const std::vector<double> kSteady{100.001, 99.999, 100.002, 99.998, 100.001, 99.999,
                                  100.002, 99.998, 100.001, 99.999, 100.000};

}  // namespace

TEST_CASE("the published study: gauge 0.302373, 27.9 % of the total, four kinds of part") {
  const GaugeCase one = published();
  check_words(one,
              {"MAYBE", "27.9 % of the total spread", "0.30237", "10 parts (1, 2, 3",
               "3 operators (A, B, C) x 3 repeats, crossed",
               "Interaction and repeats are pooled: p = 0.974 of the interaction is above 0.25",
               "(ndc): 4 (whole part of 4.875)", "w = 2 sigma of the gauge = 0.60474 Ω"});
  check_columns(report::gauge_text(one));
  const auto json = nlohmann::json::parse(report::gauge_json(one));
  CHECK(json.at("schema") == "pinproof/gauge/1");
  CHECK(json.at("verdict") == "maybe");
  CHECK(json.at("pooled") == true);
  CHECK(json.at("ndc") == 4);
  CHECK(std::abs(double(json.at("ndc_unrounded")) - 4.875041) < 1e-5);
  CHECK(std::abs(double(json.at("sigma").at("gauge")) - 0.302373) < 2e-6);  // published, rounded
  CHECK(std::abs(double(json.at("sigma").at("repeatability")) - 0.199933) < 1e-6);
  CHECK(std::abs(double(json.at("sigma").at("reproducibility")) - 0.226838) < 1e-6);
  CHECK(std::abs(double(json.at("sigma").at("parts")) - 1.042327) < 1e-6);
  CHECK(std::abs(double(json.at("percent_of_total")) - 27.9) < 0.05);
  CHECK(std::abs(double(json.at("anova").at("interaction").at("F")) - 0.434) < 5e-4);
  CHECK(json.at("tolerance").is_null());
  CHECK(json.at("design").at("operators") == std::vector<std::string>{"A", "B", "C"});
  CHECK(json.at("design").at("values").at(0).at(0).at(2) == 0.64);
}

TEST_CASE("kept apart, the negative component is told beside the 0 that it counts as") {
  const GaugeCase one = published(0);
  check_words(one, {"Interaction and repeats are kept apart: asked for (p = 0.974",
                    "Variance of the interaction came out as -0.0086796 and counts as 0."});
  const auto json = nlohmann::json::parse(report::gauge_json(one));
  CHECK(std::abs(double(json.at("variances").at("interaction_raw")) + 0.008679588477) < 1e-11);
  CHECK(json.at("variances").at("interaction") == 0);
  CHECK(json.at("pool_asked") == "never");
  CHECK(std::abs(double(json.at("variances").at("parts_raw")) -
                 double(json.at("variances").at("parts"))) < 1e-12);
}

TEST_CASE("with a tolerance, its share decides; the guard band costs part of it") {
  GaugeCase one = published();
  one.tolerance = 6 * one.study.gauge / 0.08;
  CHECK(report::fit_of(one) == GaugeFit::good);
  check_words(one, {"GOOD", "8.0 % of the tolerance"});
  one.tolerance = 6 * one.study.gauge / 0.30;  // on the border, where rounding may fall either way
  CHECK(one.deciding_percent() == doctest::Approx(30));
  one.tolerance = 6 * one.study.gauge / 0.31;
  CHECK(report::fit_of(one) == GaugeFit::unfit);
  one.tolerance = 8 * one.study.gauge, one.U = 1.5 * one.study.gauge;
  check_words(one, {"NOT FIT", "75.0 % of the tolerance", "leaves 50.0 % of the tolerance",
                    "at least 0.60474 Ω, the greater one (leaves 50.0 %)",
                    "on the safe side 0.75593 Ω, both together (leaves 37.5 %)"});
  check_columns(report::gauge_text(one));
  const auto json = nlohmann::json::parse(report::gauge_json(one));
  CHECK(double(json.at("guard_band").at("share_of_tolerance_left")) == doctest::Approx(0.5));
  CHECK(double(json.at("guard_band").at("both_together")) ==
        doctest::Approx(2.5 * one.study.gauge));
  CHECK(double(json.at("percent_of_tolerance")) == doctest::Approx(75));
  one.tolerance = 3 * one.study.gauge;  // the bands of both limits meet
  check_words(one, {"leaves 0.0 % of the tolerance"});
}

TEST_CASE("HTML is one page with both drawings, names harmless in all formats") {
  GaugeCase one = published();
  const std::string nasty = "<script>alert('x')</script>\"&\n\x1b[31m" + std::string(10000, 'W');
  one.part_names[0] = one.operator_names[1] = one.unit = one.quantity = nasty;
  const std::string html = report::gauge_html(one);
  CHECK(html.find("<script") == std::string::npos);
  CHECK(html.find('\x1b') == std::string::npos);
  for (const char* bad : {"nan", "inf", "src=", "href=", "url("})
    CHECK(html.find(bad) == std::string::npos);
  for (const char* words : {"<svg", "Mean of each part by operator",
                            "Range of the repeats by operator", "</main></body></html>"})
    CHECK(html.find(words) != std::string::npos);
  const std::string text = report::gauge_text(one);
  CHECK(text.find('\x1b') == std::string::npos);
  check_columns(text);
  CHECK(nlohmann::json::parse(report::gauge_json(one)).at("unit") == nasty);
  one.unit = "\xff";
  CHECK(report::gauge_json(one).find('\xff') == std::string::npos);
}

TEST_CASE("drawings keep their ticks for values of any size") {
  for (const double size : {1e-12, 1e-3, 1.0, 1e9}) {
    for (const double offset : {0.0, 1e6}) {
      GaugeCase one = published();
      for (auto& part : one.values)
        for (auto& cell : part)
          for (double& x : cell) x = (x + offset) * size;
      const std::string html = report::gauge_html(one);
      CHECK(html.size() < 40000);
      CHECK(std::count(html.begin(), html.end(), 'g') > 20);
    }
  }
}

TEST_CASE("control chart: in order, an earlier alarm and one at the newest reading") {
  std::vector<double> ohms = kSteady;
  const auto good = chart_of(ohms);
  CHECK(report::state_of(good) == report::ChartState::good);
  CHECK(report::chart_text(good).starts_with("IN ORDER."));
  ohms.push_back(100.02);
  const auto alarm = chart_of(ohms);
  CHECK(report::state_of(alarm) == report::ChartState::alarm);
  const std::string text = unwrapped(report::chart_text(alarm));
  const char* const verdict =
      "ALARM. The newest reading, 100.02000 Ω at 2024-05-21T08:00:00Z, breaks a rule: beyond 3 "
      "sigma. No verdict on this bench";
  for (const char* words : {verdict, "from the first 10 readings", "No certificate was given",
                            "6.3.2", "12 readings from 2024-05-10T08:00:00Z on"})
    CHECK_MESSAGE(text.find(words) != std::string::npos, text);
  ohms.push_back(100.0);
  const auto earlier = chart_of(ohms, metrology::Certificate{100, 0.001});
  CHECK(report::state_of(earlier) == report::ChartState::earlier_alarm);
  CHECK(report::chart_text(earlier).find("2024-05-21T08:00:00Z  100.02000 Ω: farther") !=
        std::string::npos);
  for (const auto& one : {good, alarm, earlier}) check_columns(report::chart_text(one));
  const auto json = nlohmann::json::parse(report::chart_json(earlier));
  CHECK(json.at("state") == "earlier-alarm");
  CHECK(json.at("readings").at(11).at("rules") ==
        std::vector<std::string>{"outside-certificate", "beyond-3-sigma"});
  CHECK(json.at("readings").at(12).at("rules").empty());
  CHECK(json.at("certificate").at("U_ohm") == 0.001);
}

TEST_CASE("control chart: few readings stand on the certificate; a long run stays a small page") {
  const auto few = chart_of({100.0, 100.0004}, metrology::Certificate{100, 0.001});
  CHECK(unwrapped(report::chart_text(few)).find("from the certificate, since there are fewer") !=
        std::string::npos);
  CHECK(nlohmann::json::parse(report::chart_json(few)).at("mean_moving_range_ohm").is_null());
  std::vector<double> ohms;
  for (int k = 0; k < 2000; ++k) ohms.push_back(100 + 0.001 * (k % 7) + (k > 1500 ? 0.1 : 0));
  auto many = chart_of(ohms, metrology::Certificate{100, 0.001});
  many.bench = "<script>\x1b" + std::string(5000, 'W'), many.points[0].z = NAN;
  const std::string text = report::chart_text(many), html = report::chart_html(many);
  check_columns(text);
  CHECK(text.find("the newest 20 of ") != std::string::npos);
  CHECK(std::count(text.begin(), text.end(), '\n') < 120);
  CHECK(html.size() < 200000);
  for (const char* bad : {"<script", "\x1b", "nan", "inf\"", "src=", "href="})
    CHECK(html.find(bad) == std::string::npos);
}
