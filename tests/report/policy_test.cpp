// Every page that we write forbids itself to fetch and to run anything.
#include <doctest/doctest.h>

#include <string>

#include "metrology/learned.h"
#include "report/coil_study.h"
#include "report/control_chart.h"
#include "report/gauge.h"
#include "report/learned.h"
#include "report/pages.h"
#include "report/sample.h"

using namespace pinproof;

namespace {

constexpr const char* kPolicy =
    "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src "
    "'unsafe-inline'; form-action 'self'; base-uri 'none'\">";

// In its head, before any text that came from outside.
void check_policy(const std::string& page) {
  CHECK(page.starts_with("<!DOCTYPE html>\n"));
  const auto policy = page.find(kPolicy);
  REQUIRE(policy != std::string::npos);
  CHECK(policy < page.find("<title>"));
  CHECK(policy < page.find("</head>"));
  CHECK(page.find("<main>") < page.find("</main>"));
  CHECK(page.ends_with("</main></body></html>\n"));
}

}  // namespace

TEST_CASE("a page of a coil, a sampling plan, a gauge, a chart or learned limits has the policy") {
  report::CoilStudy coil;
  coil.name = "</title><script>", coil.modulated = true;
  coil.duty.levels.resize(2);
  check_policy(report::coil_html(coil));
  CHECK(report::coil_html(coil).find("<script") == std::string::npos);

  report::SampleCase sample;
  sample.lot = 500, sample.level = "II", sample.AQL = 1;
  sample.plan.n = 50, sample.plan.Ac = 1;
  check_policy(report::sample_html(sample));

  report::GaugeCase gauge;
  gauge.parts = 2, gauge.operators = 2, gauge.repeats = 2;
  gauge.part_names = {"1", "2"}, gauge.operator_names = {"A", "B"};
  gauge.values = {{{1, 2}, {1, 3}}, {{4, 5}, {5, 5}}};
  gauge.study = metrology::gauge_study(gauge.values);
  check_policy(report::gauge_html(gauge));

  report::ChartCase chart;
  chart.at = {"2024-05-10T08:00:00Z"}, chart.readings = {{100, 0.01}}, chart.points.resize(1);
  chart.basis.centre = 100, chart.basis.sigma = 0.01;
  check_policy(report::chart_html(chart));

  check_policy(report::learned_html({}));
  check_policy(report::plain_page("Nothing here", "<script>"));
}
