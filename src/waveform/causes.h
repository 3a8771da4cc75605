// Which fault explains a coil's traits. Each cause is a shift of the traits that
// the physics gives, by a severity that is not known; its evidence is the mean of
// the likelihood over that severity. Pure.
#pragma once

#include <array>
#include <span>
#include <string_view>
#include <vector>

#include "waveform/traits.h"

namespace pinproof::waveform {

/// The traits under one severity, relative to a good unit's.
struct TraitShift {
  std::array<double, kTraits> by{};     ///< of the logarithms
  std::array<double, kTraits> loose{};  ///< standard deviation of what the model leaves open
  double& operator[](Trait t) { return by[static_cast<std::size_t>(t)]; }
  double& loose_in(Trait t) { return loose[static_cast<std::size_t>(t)]; }
};

/// The good unit that a shift may depend on.
struct GoodUnit {
  double ohm = 0;           ///< at 20 °C
  double eddy_siemens = 0;  ///< 0 unknown
  double growth = 0;        ///< of the inductance; 0 unknown
};

/// Adding a cause is one entry of the table in causes.cpp.
struct Cause {
  std::string_view kind;  ///< of the finding; "" for the good unit
  double prior;
  double least, most;  ///< severity, tried evenly in its logarithm
  TraitShift (*shift)(double severity, const GoodUnit& good);
  std::string_view says;  ///< a clause, with {} for the severity in percent
  std::string_view advice;
};
std::span<const Cause> causes();

/// Best first: what the figures show by themselves (supply, suppression), then
/// the causes that explain the traits, if the good unit does not (its probability
/// below 2 %). Others whose probability is within a factor of 20 of the best are
/// named with it as rivals: physics does not tell these apart here.
std::vector<CoilFinding> explain(const CoilFigures& figures, const Estimate& copper_ratio,
                                 const ExpectedTraits& expected);

}  // namespace pinproof::waveform
