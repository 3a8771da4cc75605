// Strokes of inline drawings. Every number goes through one formatter that never
// writes anything but digits.
#pragma once

#include <string_view>
#include <vector>

#include "report/markup.h"

namespace pinproof::report {

/// A linear scale from a quantity to pixels.
struct Axis {
  double from, to;        // of the quantity
  double at_from, at_to;  // pixels
  double operator()(double v) const {
    return at_from + (v - from) / (to - from) * (at_to - at_from);
  }
};

/// `kind`, here and below: a class of the style sheet.
Markup line(double x1, double y1, double x2, double y2, std::string_view kind);
Markup label(double x, double y, std::string_view text, std::string_view anchor,
             std::string_view kind = "t");
Markup rectangle(double x, double y, double w, double h, std::string_view kind);
/// What leads somewhere is no mere image, to a screen reader.
enum class SvgRole { image, group };
/// The opening tag with its title, which screen readers say.
Markup open_svg(double w, double h, std::string_view title, SvgRole role = SvgRole::image);
/// 1, 2 or 5 times a power of ten: about `wanted` steps over the span.
double nice_step(double span, int wanted);
/// The multiples of `step` on the axis, ascending. Empty where the step is not above nought.
std::vector<double> ticks(const Axis& axis, double step);
/// Samples at x0 + k dx, as smallest and largest of each group, so that no spike is lost.
Markup polyline(const std::vector<double>& y, double x0, double dx, const Axis& ax, const Axis& ay,
                std::string_view kind);
/// Points in their order; what is not a number is left out.
Markup path(const std::vector<double>& x, const std::vector<double>& y, const Axis& ax,
            const Axis& ay, std::string_view kind);
Markup grid(const Axis& ax, const Axis& ay, std::string_view y_unit, std::string_view x_unit);
Markup ring(double x, double y);  ///< a mark, in pixels

}  // namespace pinproof::report
