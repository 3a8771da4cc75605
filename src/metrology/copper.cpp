#include "metrology/copper.h"

#include <cmath>

namespace pinproof::metrology {

double copper_ratio(double celsius, double reference_celsius) {
  return (kCopperInferredZero + celsius) / (kCopperInferredZero + reference_celsius);
}

Estimate at_reference(const Estimate& ohm, const Estimate& celsius, double reference_celsius) {
  const double ratio = copper_ratio(celsius.value, reference_celsius);
  const double value = ohm.value / ratio;
  const double from_temperature = value / (kCopperInferredZero + celsius.value) * celsius.u;
  return {value, std::hypot(ohm.u / ratio, from_temperature)};
}

}  // namespace pinproof::metrology
