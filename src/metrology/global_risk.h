// What a decision rule lets through and turns away over a whole production: global consumer's and
// producer's risk (JCGM 106:2012, 9.5). Pure.
#pragma once

#include <functional>

#include "quantity/quantity.h"

namespace pinproof::metrology {

struct GlobalRisk {
  double consumer = 0;  ///< R_C: P(part does not conform and is accepted)
  double producer = 0;  ///< R_P: P(part conforms and is not accepted)
  double accepted = 0;  ///< P(part is accepted)
  /// P(an accepted part does not conform); 0 where none is accepted.
  double nonconforming_if_accepted() const { return accepted > 0 ? consumer / accepted : 0; }
};

/// Parts scatter normally about process.value with deviation process.u > 0; a reading adds a normal
/// error of deviation u > 0 and is accepted inside `acceptance`; a part conforms inside
/// `tolerance`. All in one unit; infinite ends are no limits. By quadrature, to 1e-10 of each risk
/// (of 1, for risks below 1e-15). Throws std::domain_error where a deviation is not positive.
GlobalRisk global_risk(const Estimate& process, double u, const Interval& tolerance,
                       const Interval& acceptance);

/// The same for parts of any distribution: `density` over `support`, 0 elsewhere; smooth inside it.
/// The support must be finite; a tail below 1e-15 may be cut off.
GlobalRisk global_risk(const std::function<double(double)>& density, const Interval& support,
                       double u, const Interval& tolerance, const Interval& acceptance);

}  // namespace pinproof::metrology
