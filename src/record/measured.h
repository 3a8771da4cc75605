// The numbers of one reading together with their unit. Pure.
#pragma once

#include "quantity/quantity.h"

namespace pinproof::record {

/// All in one unit, that of their owner.
struct Numbers {
  double value = 0;      ///< corrected for the lead null; NaN with an overload
  double u = 0;          ///< standard uncertainty, k = 1
  double u_random = 0;   ///< the part of u that is new in every reading (noise, repeatability)
  double range_end = 0;  ///< greatest value the range shows
  double lead_null = 0;  ///< subtracted from the raw reading
  double spread = 0;     ///< largest minus smallest of the repeats
};

/// Whoever wants a number says what he takes it for. A file may hold anything: a reading in volts
/// where ohms were asked for is refused, never judged.
class Measured {
 public:
  Measured() = default;  ///< nought ohm
  Measured(Unit unit, const Numbers& numbers) : unit_(unit), numbers_(numbers) {}

  Unit unit() const { return unit_; }
  /// Throws Error(Fault::usage) where they are in another unit.
  const Numbers& in(Unit unit) const;
  /// For files and texts, which write the unit beside them.
  const Numbers& numbers() const { return numbers_; }
  Numbers& numbers() { return numbers_; }

  Resistance ohm() const { return Resistance{in(Unit::ohm).value}; }
  Temperature celsius() const { return Temperature::celsius(in(Unit::celsius).value); }
  /// Value and standard uncertainty.
  Estimate estimate(Unit unit) const { return {in(unit).value, in(unit).u}; }

 private:
  Unit unit_ = Unit::ohm;
  Numbers numbers_;
};

}  // namespace pinproof::record
