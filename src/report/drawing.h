// Strokes of inline drawings. Every number goes through one formatter that never
// writes anything but digits.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace pinproof::report {

/// Text for HTML and attributes; control characters become spaces.
std::string escape(std::string_view text);
/// The same for text of several lines: their ends stay.
std::string escape_lines(std::string_view text);
/// A coordinate: fixed decimals, 0 for what is not a number.
std::string coordinate(double value);

/// A linear scale from a quantity to pixels.
struct Axis {
  double from, to;        // of the quantity
  double at_from, at_to;  // pixels
  double operator()(double v) const {
    return at_from + (v - from) / (to - from) * (at_to - at_from);
  }
};

std::string attribute(const char* name, double value);
std::string line(double x1, double y1, double x2, double y2, const char* kind);
std::string label(double x, double y, const std::string& text, const char* anchor,
                  const char* kind = "t");
std::string rectangle(double x, double y, double w, double h, const char* kind);
/// The opening tag with its title, which screen readers say.
std::string open_svg(double w, double h, const std::string& title);
/// 1, 2 or 5 times a power of ten: about `wanted` steps over the span.
double nice_step(double span, int wanted);
/// The multiples of `step` on the axis, ascending. Empty where the step is not above nought.
std::vector<double> ticks(const Axis& axis, double step);
/// Samples at x0 + k dx, as smallest and largest of each group, so that no spike is lost.
std::string polyline(const std::vector<double>& y, double x0, double dx, const Axis& ax,
                     const Axis& ay, const char* kind);
/// Points in their order; what is not a number is left out.
std::string path(const std::vector<double>& x, const std::vector<double>& y, const Axis& ax,
                 const Axis& ay, const char* kind);
std::string grid(const Axis& ax, const Axis& ay, const std::string& y_unit,
                 const std::string& x_unit);
std::string ring(double x, double y);  ///< a mark, in pixels

}  // namespace pinproof::report
