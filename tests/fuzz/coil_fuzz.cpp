// Bytes as samples: settings, then steps of the voltage and the current in turn, so that small
// changes of the input are small changes of the waveform.
#include <cmath>

#include "coils.h"
#include "targets.h"

namespace pinproof::fuzz {
namespace {

constexpr std::size_t kMostRuns = 400, kMostSamples = 3000;

// A run of equal slopes: how many samples, and by how much each goes on.
void add_run(std::string_view& input, waveform::Capture& out, double& volt, double& ampere) {
  const unsigned length = take_byte(input) % 64 + 1;
  const double dv = std::ldexp(static_cast<signed char>(take_byte(input)), -4);
  const double di = std::ldexp(static_cast<signed char>(take_byte(input)), -12);
  const unsigned noise = take_byte(input);
  for (unsigned k = 0; k < length; ++k) {
    if (k == 0) volt += dv;
    ampere += di;
    // Not random: the same input is the same capture.
    const double ripple = std::ldexp(static_cast<double>((k * 37 + noise * 11) % 17) - 8, -16);
    out.voltage_V.push_back(volt + noise * ripple);
    out.current_A.push_back(ampere + noise * ripple / 16);
  }
}

}  // namespace

void try_coil(std::string_view input) {
  waveform::Capture capture;
  waveform::AnalysisOptions options;
  const unsigned kind = take_byte(input);
  capture.interval_s = std::pow(10.0, -6 + static_cast<double>(take_byte(input)) / 64);
  capture.start_s = capture.interval_s * (static_cast<double>(take_byte(input)) - 200);
  if ((kind & 1u) != 0) options.coil_class = waveform::PlungerAction::variable;
  if ((kind & 2u) != 0) options.clip_A = 1, options.clip_V = 20;
  if ((kind & 4u) != 0)
    options.limit_A = 1.5, options.voltage_gain_u = options.current_gain_u = 1e-3;
  double volt = 0, ampere = 0;
  for (std::size_t k = 0; k < kMostRuns && !input.empty(); ++k) {
    if (capture.current_A.size() >= kMostSamples) break;
    add_run(input, capture, volt, ampere);
  }
  if ((kind & 8u) != 0) capture.voltage_V.clear(), options.supply_V = 12;
  if ((kind & 16u) != 0 && !capture.current_A.empty()) capture.current_A.back() = NAN;
  study_coil(capture, options);
}

}  // namespace pinproof::fuzz
