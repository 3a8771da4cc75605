// Coverage factors where a normal distribution would mislead: few degrees of freedom, one or two
// dominant rectangles. Pure.
#pragma once

namespace pinproof::metrology {

/// k of Student's t; unlike coverage_factor() without truncation, for degrees of freedom of 1 or
/// more. Throws std::domain_error outside of that and of 0 < coverage < 1.
double student_factor(double coverage, double degrees_of_freedom);

/// k of two rectangles added, half widths a1 and a2, beta = |a1 - a2| / (a1 + a2): a trapezoid
/// (EA-4/02 S10); beta 1 is a single rectangle (S9). 0 <= beta <= 1; std::domain_error otherwise.
double trapezoid_factor(double coverage, double beta);

/// Half width that holds `coverage` of a normal distribution (standard deviation sd > 0) and two
/// rectangles (half widths a, b > 0) added: their convolution in closed form.
double convolved_half_width(double coverage, double sd, double a, double b);

}  // namespace pinproof::metrology
