// pinproof gauge: what the bench itself adds to its readings, and whether it still reads the same.
#include "report/gauge.h"

#include <CLI/CLI.hpp>
#include <algorithm>
#include <array>
#include <cstdio>
#include <stdexcept>
#include <utility>

#include "app/command.h"
#include "app/values.h"
#include "metrology/uncertainty.h"
#include "quantity/error.h"
#include "quantity/file.h"
#include "quantity/text.h"
#include "report/control_chart.h"
#include "tables/gauge_csv.h"

namespace pinproof::app {
namespace {

constexpr std::size_t kMostBytes = 16u << 20;
constexpr std::size_t kBaseline = 20;  // readings that settle centre and sigma, once they are there

struct GaugeOptions {
  std::string study, tolerance, uncertainty, unit, pool = "auto";
  std::string reference, bench, certificate, certificate_U, resolution;
  std::string html;
};

CLI::Option* add_study(CLI::App& app, GaugeOptions& options) {
  auto* study = takes_file(app.add_option(
      "--study", options.study, "CSV of a crossed study: columns part, operator, repeat, value"));
  app.add_option("--tolerance", options.tolerance, "Width of the limits that parts are judged by")
      ->needs(study);
  app.add_option("--uncertainty", options.uncertainty,
                 "Expanded uncertainty (k = 2) of one reading, to compare the guard band with")
      ->needs(study);
  app.add_option("--unit", options.unit, "Unit of the values, as in \"ohm\"")->needs(study);
  app.add_option("--pool", options.pool,
                 "Take interaction and repeats together: auto does where p is above 0.25")
      ->check(CLI::IsMember({"auto", "always", "never"}))
      ->needs(study)
      ->capture_default_str();
  return study;
}

CLI::Option* add_reference(CLI::App& app, GaugeOptions& options) {
  auto* reference = takes_file(
      app.add_option("--reference", options.reference,
                     "CSV of \"pinproof bench --check --log\": chart of its reference resistor"));
  app.add_option("--bench-name", options.bench, "Which bench, where the log holds several")
      ->needs(reference);
  auto* certificate = app.add_option("--certificate", options.certificate,
                                     "Ohms of the resistor by its certificate")
                          ->needs(reference);
  auto* U = app.add_option("--certificate-u", options.certificate_U,
                           "Expanded uncertainty (k = 2) of the certificate, ohm");
  certificate->needs(U);
  U->needs(certificate);
  app.add_option("--resolution", options.resolution,
                 "One digit of the meter at the resistor, ohm: sigma is not taken for less")
      ->needs(reference);
  return reference;
}

void add_options(CLI::App& app, GaugeOptions& options) {
  add_reference(app, options)->excludes(add_study(app, options));
  takes_file(app.add_option("--html", options.html,
                            "Write the report with its drawings to this HTML file"));
}

// nullopt where the option was not given.
std::optional<double> positive(const std::string& text, const char* option) {
  if (text.empty()) return std::nullopt;
  const auto value = parse_number(text);
  if (value && *value > 0) return value;
  throw Error(Fault::usage, std::string(option) + " \"" + text + "\": a number above 0 is wanted");
}

// "ohm" -> "Ω" and what that measures; another unit stands as it was typed.
void name_unit(const std::string& typed, report::GaugeCase& one) {
  struct Name {
    Unit unit;
    const char* quantity;
  };
  static constexpr std::array kNames{
      Name{Unit::ohm, "Resistance"}, Name{Unit::volt, "Voltage"},
      Name{Unit::ampere, "Current"}, Name{Unit::henry, "Inductance"},
      Name{Unit::second, "Time"},    Name{Unit::celsius, "Temperature"},
      Name{Unit::pascal, "Pressure"}};
  one.unit = typed;
  one.quantity = "Value";
  const auto unit = unit_from_file_name(typed);
  if (!unit) return;
  one.unit = symbol(*unit);
  for (const Name& name : kNames)
    if (name.unit == *unit) one.quantity = name.quantity;
}

// A meter too coarse to show its own scatter would be called perfect.
void expect_scatter(const metrology::GaugeValues& values, const std::string& file) {
  for (const auto& part : values)
    for (const auto& cell : part)
      if (std::any_of(cell.begin(), cell.end(), [&](double x) { return x != cell.front(); }))
        return;
  throw Error(Fault::usage, file +
                                ": all repeats are equal: the meter does not resolve its own "
                                "scatter; read with more digits");
}

report::GaugeCase study_case(const GaugeOptions& options) {
  auto table = tables::parse_gauge_csv(read_file(options.study, kMostBytes), options.study);
  expect_scatter(table.values, options.study);
  report::GaugeCase one;
  one.pool = options.pool == "auto" ? -1 : options.pool == "always" ? 1 : 0;
  one.tolerance = positive(options.tolerance, "--tolerance");
  one.U = positive(options.uncertainty, "--uncertainty");
  try {
    one.study = metrology::gauge_study(table.values, one.pool);
  } catch (const std::domain_error&) {
    throw Error(Fault::usage, options.study +
                                  ": cannot be analysed: the values are too alike or too large for "
                                  "an analysis of variance");
  }
  one.parts = table.parts.size();
  one.operators = table.operators.size();
  one.repeats = table.repeats;
  one.part_names = std::move(table.parts);
  one.operator_names = std::move(table.operators);
  one.values = std::move(table.values);
  name_unit(options.unit, one);
  return one;
}

metrology::ChartBasis basis_of(const GaugeOptions& options, const report::ChartCase& one) {
  const auto digit = positive(options.resolution, "--resolution");
  const double floor = digit ? metrology::resolution(*digit) : 0;
  const std::size_t count = one.readings.size();
  if (count < metrology::kLeastBaseline && one.certificate)
    return metrology::basis_from_certificate(*one.certificate, floor);
  if (count < metrology::kLeastBaseline)
    throw Error(Fault::usage, options.reference + ": " + std::to_string(count) +
                                  " readings: ten are needed, or --certificate");
  std::vector<double> values;
  for (const auto& reading : one.readings) values.push_back(reading.value);
  try {
    return metrology::basis_from_readings(values, std::min(count, kBaseline), floor);
  } catch (const std::domain_error& e) {
    throw Error(Fault::usage, options.reference + ": " + e.what() + ": give --resolution");
  }
}

report::ChartCase chart_case(const GaugeOptions& options) {
  auto log = tables::parse_reference_log(read_file(options.reference, kMostBytes),
                                         options.reference, options.bench);
  report::ChartCase one;
  one.bench = std::move(log.bench);
  one.check = std::move(log.check);
  one.at = std::move(log.at);
  one.readings = std::move(log.readings);
  one.without_value = log.without_value;
  if (const auto value = positive(options.certificate, "--certificate"))
    one.certificate =
        metrology::Certificate{*value, *positive(options.certificate_U, "--certificate-u")};
  one.basis = basis_of(options, one);
  one.points = metrology::control_points(one.readings, one.basis, one.certificate);
  return one;
}

int run_study(const GaugeOptions& options, bool json) {
  const report::GaugeCase one = study_case(options);
  if (!options.html.empty()) write_file(options.html, report::gauge_html(one));
  std::fputs((json ? report::gauge_json(one) : report::gauge_text(one)).c_str(), stdout);
  switch (report::fit_of(one)) {
    case report::GaugeFit::good:
      return 0;
    case report::GaugeFit::maybe:
      return 2;
    case report::GaugeFit::unfit:
      break;
  }
  return 1;
}

int run_chart(const GaugeOptions& options, bool json) {
  const report::ChartCase one = chart_case(options);
  if (!options.html.empty()) write_file(options.html, report::chart_html(one));
  std::fputs((json ? report::chart_json(one) : report::chart_text(one)).c_str(), stdout);
  switch (report::state_of(one)) {
    case report::ChartState::good:
      return 0;
    case report::ChartState::earlier_alarm:
      return 2;
    case report::ChartState::alarm:
      break;
  }
  return 1;
}

int run(const GaugeOptions& options, const Common& common) {
  if (!options.study.empty()) return run_study(options, common.json);
  if (!options.reference.empty()) return run_chart(options, common.json);
  throw Error(Fault::usage, "--study FILE.csv or --reference FILE.csv is wanted");
}

Run prepare(CLI::App& app) { return prepared(app, add_options, run); }

}  // namespace

const Command kGauge{.name = "gauge",
                     .description =
                         "What a bench adds to its readings (crossed gauge study), and whether its "
                         "reference resistor still reads the same",
                     .example =
                         "pinproof gauge --study study.csv --unit ohm --tolerance 2.5\n"
                         "  pinproof gauge --reference daily.csv --certificate 100.003 "
                         "--certificate-u 0.002",
                     .prepare = prepare};

}  // namespace pinproof::app
