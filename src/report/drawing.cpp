#include "report/drawing.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>

namespace pinproof::report {

Markup line(double x1, double y1, double x2, double y2, std::string_view kind) {
  return "<line" + attribute("class", kind) + attribute("x1", x1) + attribute("y1", y1) +
         attribute("x2", x2) + attribute("y2", y2) + "/>";
}

Markup label(double x, double y, std::string_view text, std::string_view anchor,
             std::string_view kind) {
  return "<text" + attribute("class", kind) + attribute("text-anchor", anchor) + attribute("x", x) +
         attribute("y", y) + ">" + escape(text) + "</text>";
}

Markup rectangle(double x, double y, double w, double h, std::string_view kind) {
  return "<rect" + attribute("class", kind) + attribute("x", x) + attribute("y", y) +
         attribute("width", std::max(w, 0.0)) + attribute("height", h) + "/>";
}

Markup open_svg(double w, double h, std::string_view title, SvgRole role) {
  return "<svg viewBox=\"0 0 " + coordinate(w) + " " + coordinate(h) + "\"" +
         attribute("role", role == SvgRole::image ? "img" : "group") +
         attribute("aria-label", title) + "><title>" + escape(title) + "</title>";
}

// 1, 2 or 5 times a power of ten: about `wanted` steps over the span.
double nice_step(double span, int wanted) {
  const double raw = span / wanted;
  const double power = std::pow(10.0, std::floor(std::log10(raw)));
  for (const double m : {1.0, 2.0, 5.0})
    if (m * power >= raw) return m * power;
  return 10 * power;
}

std::vector<double> ticks(const Axis& axis, double step) {
  constexpr double kOnTheEnd = 1e-6;  // of a step: the ends themselves count
  std::vector<double> out;
  const double first = std::ceil(axis.from / step - kOnTheEnd);
  const double last = std::floor(axis.to / step + kOnTheEnd);
  if (!(step > 0) || !(last >= first)) return out;
  const int steps = static_cast<int>(std::min(last - first, 1000.0));
  for (int k = 0; k <= steps; ++k) out.push_back((first + k) * step);
  return out;
}

// Smallest and largest of each group of samples, so that no spike is lost.
Markup polyline(const std::vector<double>& y, double x0, double dx, const Axis& ax, const Axis& ay,
                std::string_view kind) {
  constexpr std::size_t kGroups = 450;
  const std::size_t group = std::max<std::size_t>(1, y.size() / kGroups);
  Markup points;
  const auto add = [&](std::size_t k) {
    points += coordinate(ax(x0 + static_cast<double>(k) * dx)) + "," + coordinate(ay(y[k])) + " ";
  };
  for (std::size_t k = 0; k < y.size(); k += group) {
    const auto from = y.begin() + static_cast<std::ptrdiff_t>(k);
    const auto to = y.begin() + static_cast<std::ptrdiff_t>(std::min(y.size(), k + group));
    const auto [low, high] = std::minmax_element(from, to);
    add(static_cast<std::size_t>(std::min(low, high) - y.begin()));
    if (group > 1 && low != high) add(static_cast<std::size_t>(std::max(low, high) - y.begin()));
  }
  return "<polyline" + attribute("class", kind) + " points=\"" + points + "\"/>";
}

namespace {

// As many decimals as the step between ticks needs.
std::string tick_text(double value, double step) {
  const double rounded = std::round(value / step) * step + 0.0;
  const int decimals = std::max(0, static_cast<int>(std::ceil(-std::log10(step) - 1e-9)));
  std::array<char, 64> buffer{};
  const auto end =
      std::to_chars(buffer.data(), buffer.data() + buffer.size(), std::clamp(rounded, -1e9, 1e9),
                    std::chars_format::fixed, std::min(decimals, 9))
          .ptr;
  return {buffer.data(), end};
}

}  // namespace

Markup grid(const Axis& ax, const Axis& ay, std::string_view y_unit, std::string_view x_unit) {
  Markup out;
  const double sx = nice_step(ax.to - ax.from, 8);
  for (const double x : ticks(ax, sx)) {
    out += line(ax(x), ay.at_from, ax(x), ay.at_to, "g");
    out += label(ax(x), ay.at_from + 14, tick_text(x, sx), "middle");
  }
  const double sy = nice_step(ay.to - ay.from, 5);
  for (const double y : ticks(ay, sy)) {
    out += line(ax.at_from, ay(y), ax.at_to, ay(y), "g");
    out += label(ax.at_from - 5, ay(y) + 4, tick_text(y, sy), "end");
  }
  return out + label(ax.at_from, ay.at_to - 6, y_unit, "end") +
         label(ax.at_to, ay.at_from + 28, x_unit, "end");
}

Markup path(const std::vector<double>& x, const std::vector<double>& y, const Axis& ax,
            const Axis& ay, std::string_view kind) {
  Markup points;
  for (std::size_t k = 0; k < x.size(); ++k)
    if (std::isfinite(x[k]) && std::isfinite(y[k]))
      points += coordinate(ax(x[k])) + "," + coordinate(ay(y[k])) + " ";
  return "<polyline" + attribute("class", kind) + " points=\"" + points + "\"/>";
}

Markup ring(double x, double y) {
  return "<circle class=\"ring\"" + attribute("cx", x) + attribute("cy", y) + attribute("r", 4.5) +
         "/>";
}

}  // namespace pinproof::report
