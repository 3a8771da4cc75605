// What a coil is recognised by, in logarithms, so that faults are shifts and good
// units scatter alike. Pure.
#pragma once

#include <array>
#include <cstddef>
#include <span>
#include <string_view>

#include "waveform/coil_figures.h"

namespace pinproof::waveform {

enum class Trait {
  resistance,     ///< at 20 °C
  inductance,     ///< plunger at rest
  eddy,           ///< conductance of the eddy path, (1 - a) / (a R)
  growth,         ///< of the inductance while the plunger travels; 0 (ln 1) without travel
  begin_current,  ///< magnetising current at 2 % of the travel
  travel_time     ///< from 2 % of the travel to seating
};
inline constexpr std::size_t kTraits = 6;
std::string_view name_of(Trait trait);  ///< for people: "resistance at 20 °C"

struct Traits {
  std::array<Estimate, kTraits> ln;  ///< natural logarithms; NaN where not seen
  const Estimate& operator[](Trait t) const { return ln[static_cast<std::size_t>(t)]; }
  Estimate& operator[](Trait t) { return ln[static_cast<std::size_t>(t)]; }
};

/// `copper_ratio` is R(t) / R(20 °C) of the winding's copper with its standard
/// uncertainty; a wide one where the temperature is not known.
Traits traits_of(const CoilFigures& figures, const Estimate& copper_ratio);

/// What good units of one kind show: values with their spread from unit to unit.
struct ExpectedTraits {
  Traits traits;             ///< u is the spread; NaN where nothing is known
  std::size_t captures = 0;  ///< that it was learned from; 0: from limits
  SeenSuppression suppression = SeenSuppression::not_judged;
  double clamp_V = 0;   ///< of it; 0 unknown
  double supply_V = 0;  ///< at the coil at the end of the pulse; 0 unknown
};

struct GoodCapture {
  CoilFigures figures;
  Estimate copper_ratio{1, 0};
};

/// Means and spreads of captures of known-good units. Few captures tell little of
/// a spread: it is pooled with what such coils show (1 % of resistance, 2.5 % of
/// inductance, 6 % of the eddy path, 2 % of the growth, 5 % of the current at
/// the begin of travel, 10 % of the travel time: common practice, no source), which weighs as
/// much as four captures, and widened by sqrt(1 + 1/n) for the mean's own.
ExpectedTraits learn_expected(std::span<const GoodCapture> good);

}  // namespace pinproof::waveform
