// pinproof coil: one capture from any oscilloscope.
#include <CLI/CLI.hpp>
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <filesystem>

#include "app/command.h"
#include "app/values.h"
#include "inspection/checks/coil_expected.h"
#include "metrology/copper.h"
#include "profile/load.h"
#include "quantity/error.h"
#include "quantity/file.h"
#include "quantity/text.h"
#include "report/coil_study.h"
#include "tables/capture_csv.h"
#include "waveform/causes.h"

namespace pinproof::app {
namespace {

constexpr std::size_t kLargestCapture = std::size_t{1} << 30;

struct CoilOptions {
  std::string capture, columns, profile, part, page;
  std::vector<std::string> known_good;
  double shunt_ohm = 0, supply_V = 0;
  double celsius = NAN, celsius_u = 1, good_celsius = NAN;
  double hot_celsius = NAN, lowest_V = NAN;
  bool variable = false;
};

void add_reading_options(CLI::App& app, CoilOptions& options) {
  takes_file(app.add_option("capture", options.capture,
                            "CSV file with time, current and (best) coil voltage"))
      ->required();
  app.add_option("--columns", options.columns,
                 "time=NAME,current=NAME,voltage=NAME: a name in the header or a number from 1; "
                 "commas between");
  app.add_option("--shunt-ohm", options.shunt_ohm,
                 "The current column holds the voltage of a shunt of this resistance")
      ->check(CLI::Range(1e-6, 1e3));
  app.add_option("--supply-V", options.supply_V,
                 "Supply voltage, where the capture has no voltage column")
      ->check(CLI::Range(0.1, 100.0));
  app.add_flag("--variable", options.variable, "A variable-force coil: no dip is expected");
}

void add_options(CLI::App& app, CoilOptions& options) {
  add_reading_options(app, options);
  app.add_option("--celsius", options.celsius, "Temperature of the winding during the capture")
      ->check(CLI::Range(-60.0, 200.0));
  app.add_option("--celsius-u", options.celsius_u, "Its standard uncertainty in kelvin (1)")
      ->check(CLI::Range(0.01, 50.0));
  takes_profile(
      app.add_option("--profile", options.profile, "Profile that says what a good coil is"));
  app.add_option("--part", options.part, "Which of its coils this is");
  takes_file(app.add_option("--known-good", options.known_good,
                            "Captures of known-good units, read with the same options"))
      ->expected(1, 1000);
  app.add_option("--known-good-celsius", options.good_celsius,
                 "Their winding's temperature (that of --celsius)")
      ->check(CLI::Range(-60.0, 200.0));
  app.add_option("--hot-celsius", options.hot_celsius,
                 "Judge whether it still pulls in at this temperature (the profile's)")
      ->check(CLI::Range(-60.0, 250.0));
  app.add_option("--lowest-V", options.lowest_V,
                 "... at this voltage across the coil (the profile's)")
      ->check(CLI::Range(0.1, 100.0));
  takes_file(
      app.add_option("--html", options.page, "Also write a page with drawings to this HTML file"));
}

waveform::Capture read_one(const std::string& path, const CoilOptions& options) {
  tables::CsvOptions csv;
  csv.file = path;
  if (options.shunt_ohm > 0) csv.shunt_ohm = options.shunt_ohm;
  if (!options.columns.empty()) tables::take_columns(options.columns, csv);
  return tables::read_capture_csv(read_file(path, kLargestCapture), csv).capture;
}

const profile::Coil* find_coil(const std::optional<profile::Profile>& profile,
                               const std::string& name) {
  if (!profile) return nullptr;
  const auto* part = profile->find_part(name);
  if (part && part->coil()) return part->coil();
  std::string names;
  for (const auto& p : profile->parts)
    if (p.coil()) names += (names.empty() ? "" : ", ") + p.name;
  throw Error(Fault::usage, "profile \"" + profile->name + "\" has no coil \"" + name +
                                "\"; its coils: " + names);
}

waveform::AnalysisOptions analysis_for(const CoilOptions& options, const profile::Coil* coil) {
  waveform::AnalysisOptions out;
  out.supply_V = options.supply_V;
  const bool variable = coil && coil->coil_class == profile::CoilClass::variable;
  if (options.variable || variable) out.coil_class = waveform::PlungerAction::variable;
  return out;
}

std::optional<Estimate> temperature(double celsius, double u) {
  if (!std::isfinite(celsius)) return std::nullopt;
  return Estimate{celsius, u};
}

void add_hot(const CoilOptions& options, const profile::Coil* coil, report::CoilStudy& s) {
  report::HotMargin hot;
  hot.celsius = options.hot_celsius;
  hot.supply_V = options.lowest_V;
  if (!std::isfinite(hot.celsius) && coil && coil->hot_celsius) hot.celsius = *coil->hot_celsius;
  if (!std::isfinite(hot.supply_V) && coil && coil->hot_supply_V)
    hot.supply_V = *coil->hot_supply_V;
  if (!std::isfinite(hot.celsius) || !std::isfinite(hot.supply_V)) return;
  const auto now = temperature(options.celsius, options.celsius_u);
  const Estimate ratio = inspection::copper_ratio_of(now);
  const double warm = metrology::copper_ratio(hot.celsius, 20) / ratio.value;
  hot.margin = waveform::margin_at(s.figures, hot.supply_V, {warm, warm * ratio.u / ratio.value});
  if (hot.margin.reason.empty()) {
    const double span = metrology::kCopperInferredZero + 20;
    const double ends = hot.margin.ends_at_ratio.value * ratio.value;
    hot.ends_celsius = {ends * span - metrology::kCopperInferredZero,
                        span * ends *
                            std::hypot(hot.margin.ends_at_ratio.u / hot.margin.ends_at_ratio.value,
                                       ratio.u / ratio.value)};
  }
  s.hot = hot;
}

// Known-good captures say best what a good unit shows; else the profile's limits.
waveform::ExpectedTraits expectation(const CoilOptions& options, const profile::Coil* coil,
                                     const waveform::AnalysisOptions& analysis,
                                     report::CoilStudy& s) {
  if (options.known_good.empty())
    return coil ? inspection::expected_of(*coil) : waveform::ExpectedTraits{};
  const double celsius =
      std::isfinite(options.good_celsius) ? options.good_celsius : options.celsius;
  const Estimate ratio = inspection::copper_ratio_of(temperature(celsius, options.celsius_u));
  std::vector<waveform::GoodCapture> good;
  std::vector<waveform::Traits> traits;
  for (const std::string& path : options.known_good) {
    waveform::Capture capture = read_one(path, options);
    const auto figures = waveform::analyse(capture, analysis);
    if (figures.status != waveform::Status::ok)
      throw Error(Fault::usage,
                  path + ": no known-good capture: " + std::string(text_of(figures.status)));
    s.known_good_onset_s.push_back(figures.onset_s);
    s.known_good.push_back(std::move(capture));
    good.push_back({figures, ratio});
    traits.push_back(waveform::traits_of(figures, ratio));
  }
  const auto here = inspection::copper_ratio_of(temperature(options.celsius, options.celsius_u));
  s.distance = waveform::distance_from(waveform::traits_of(s.figures, here), traits);
  return waveform::learn_expected(good);
}

void fill_pulse(const CoilOptions& options, const profile::Coil* coil, report::CoilStudy& s) {
  const auto analysis = analysis_for(options, coil);
  s.figures = waveform::analyse(s.capture, analysis);
  s.findings = s.figures.findings;
  s.magnetics = waveform::magnetics_of(s.capture, analysis, s.figures);
  const auto celsius = temperature(options.celsius, options.celsius_u);
  const Estimate ratio = inspection::copper_ratio_of(celsius);
  s.celsius = celsius.value_or(Estimate{NAN, NAN});
  s.resistance_20_ohm = {NAN, NAN};
  if (celsius && s.figures.resistance_ohm.usable())
    s.resistance_20_ohm = metrology::at_reference(s.figures.resistance_ohm, *celsius, 20);
  s.findings = waveform::explain(s.figures, ratio, expectation(options, coil, analysis, s));
  add_hot(options, coil, s);
}

bool asked_to_judge(const CoilOptions& options) {
  return !options.profile.empty() || !options.known_good.empty() ||
         std::isfinite(options.hot_celsius) || std::isfinite(options.lowest_V);
}

// Of a margin that touches nought nobody knows whether the coil still pulls in.
int exit_of(const report::HotMargin& hot) {
  if (!hot.margin.reason.empty()) return 2;
  const Estimate& margin = hot.margin.margin;
  if (margin.value + 2 * margin.u < 0) return 1;
  return margin.value - 2 * margin.u > 0 ? 0 : 2;
}

int exit_of(const CoilOptions& options, const report::CoilStudy& study) {
  if (study.modulated) return asked_to_judge(options) ? 2 : 0;
  if (study.figures.status != waveform::Status::ok) return 2;
  // Of the supply, and not of the coil.
  const auto of_bench = [](const waveform::CoilFinding& f) {
    return f.kind == "weak-supply" || f.kind == "supply-current-limit";
  };
  const auto& found = study.findings;
  if (!std::all_of(found.begin(), found.end(), of_bench)) return 1;
  const bool hot_asked = std::isfinite(options.hot_celsius) || std::isfinite(options.lowest_V);
  const int hot = study.hot ? exit_of(*study.hot) : hot_asked ? 2 : 0;
  return hot == 0 && !found.empty() ? 2 : hot;
}

int run(const CoilOptions& options, const Common& common) {
  if (options.part.empty() != options.profile.empty())
    throw Error(Fault::usage, "--profile and --part go together");
  std::optional<profile::Profile> profile;
  if (!options.profile.empty()) profile = profile::load_profile(find_profile(options.profile));
  report::CoilStudy study;
  study.name = options.part.empty() ? std::filesystem::path(options.capture).filename().string()
                                    : options.part;
  const profile::Coil* coil = find_coil(profile, options.part);
  study.capture = read_one(options.capture, options);
  // A contact that bounces switches often too, but holds no level.
  if (waveform::looks_modulated(study.capture)) study.duty = waveform::analyse_duty(study.capture);
  study.modulated = !study.duty.levels.empty();
  if (!study.modulated) fill_pulse(options, coil, study);
  if (!options.page.empty()) write_file(options.page, report::coil_html(study));
  std::fputs((common.json ? report::coil_json(study) : report::coil_text(study)).c_str(), stdout);
  if (study.modulated && asked_to_judge(options))
    std::fputs("pinproof: a capture that switches many times is a duty sweep: nothing judges it\n",
               stderr);
  return exit_of(options, study);
}

Run prepare(CLI::App& app) { return prepared(app, add_options, run); }

}  // namespace

const Command kCoil{
    .name = "coil",
    .description = "Read a coil's figures from an oscilloscope's capture file",
    .example = "pinproof coil capture.csv --columns time=1,current=CH2,voltage=CH1 --json",
    .prepare = prepare};

}  // namespace pinproof::app
