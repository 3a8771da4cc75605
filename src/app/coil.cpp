// pinproof coil: one capture from any oscilloscope.
#include <CLI/CLI.hpp>
#include <cstdio>

#include "app/command.h"
#include "quantity/document.h"
#include "quantity/error.h"
#include "quantity/text.h"
#include "report/formats.h"
#include "waveform/capture_csv.h"
#include "waveform/coil_figures.h"

namespace pinproof::app {
namespace {

constexpr std::size_t kLargestCapture = std::size_t{1} << 30;

struct Options {
  std::string capture;
  std::string columns;
  double shunt_ohm = 0, supply_V = 0;
  bool variable = false;
} options;

void add_options(CLI::App& app) {
  app.add_option("capture", options.capture, "CSV file with time, current and (best) coil voltage")
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

waveform::CsvOptions csv_options() {
  waveform::CsvOptions out;
  out.file = options.capture;
  if (options.shunt_ohm > 0) out.shunt_ohm = options.shunt_ohm;
  if (!options.columns.empty()) waveform::take_columns(options.columns, out);
  return out;
}

int run(const Common& common) {
  const auto read =
      waveform::read_capture_csv(read_file(options.capture, kLargestCapture), csv_options());
  waveform::AnalysisOptions analysis;
  analysis.supply_V = options.supply_V;
  if (options.variable) analysis.coil_class = waveform::CoilClass::variable;
  const auto figures = waveform::analyse(read.capture, analysis);
  std::fputs((common.json ? report::coil_json(figures) : report::coil_text(figures)).c_str(),
             stdout);
  return figures.status == waveform::Status::ok ? 0 : 2;
}

}  // namespace

const Command kCoil{
    .name = "coil",
    .description = "Read a coil's figures from an oscilloscope's capture file",
    .example = "pinproof coil capture.csv --columns time=1,current=CH2,voltage=CH1 --json",
    .options = add_options,
    .run = run};

}  // namespace pinproof::app
