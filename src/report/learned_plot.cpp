// Values by lot against limits, old and new.
#include <algorithm>
#include <cmath>
#include <optional>

#include "quantity/lines.h"
#include "quantity/text.h"
#include "report/drawing.h"
#include "report/learned.h"

namespace pinproof::report {
namespace {

constexpr double kWide = 640, kLeft = 110, kRight = kWide - 20, kRow = 16, kTop = 14;
constexpr std::size_t kDots = 150;  // of a lot

// The limits as they stand against the values as they were read.
std::optional<Interval> present_as_read(const LearnedFigure& f) {
  if (!f.present) return std::nullopt;
  return Interval{f.present->low, f.present->high + f.wires_max_ohm};
}

Axis axis_of(const LearnedFigure& f) {
  Interval span{INFINITY, -INFINITY};
  const auto cover = [&span](double v) {
    if (std::isfinite(v)) span.low = std::min(span.low, v), span.high = std::max(span.high, v);
  };
  for (const auto& lot : f.lots)
    for (const double v : lot) cover(v);
  for (const auto& limits : {f.learned.limits, present_as_read(f)})
    if (limits) cover(limits->low), cover(limits->high);
  const double margin = span.width() > 0 ? 0.05 * span.width() : std::abs(span.low) / 100 + 1e-9;
  return {span.low - margin, span.high + margin, kLeft, kRight};
}

Markup dots(std::vector<double> lot, const Axis& ax, double y) {
  std::sort(lot.begin(), lot.end());
  const std::size_t step = lot.size() / kDots + 1;
  Markup out;
  for (std::size_t k = 0; k < lot.size(); ++k)
    if (k % step == 0 || k + 1 == lot.size())
      out += "<circle class=\"dot\"" + attribute("cx", ax(lot[k])) + attribute("cy", y) +
             attribute("r", 2.5) + "/>";
  return out;
}

}  // namespace

Markup learned_plot(const LearnedCase& one, const LearnedFigure& f) {
  const Axis ax = axis_of(f);
  const std::size_t rows = std::min(kLearnedRows, f.lots.size());
  const double bottom = kTop + kRow * double(rows) + 6;
  Markup out = open_svg(kWide, bottom + 24, f.title + " by lot");
  const double step = nice_step(ax.to - ax.from, 5);
  for (const double x : ticks(ax, step))
    out += line(ax(x), kTop - 8, ax(x), bottom, "g") +
           label(ax(x), bottom + 15, format_si(x, f.unit, 4), "middle");
  for (std::size_t k = 0; k < rows; ++k) {
    const double y = kTop + kRow * (double(k) + 0.5);
    const std::string name = one.lots[k].empty() ? "(no lot)" : one.lots[k];
    out += label(kLeft - 8, y + 4, std::string(head(name, 14)), "end") + dots(f.lots[k], ax, y);
  }
  const auto ends = [&](const std::optional<Interval>& limits, const char* kind) {
    for (const double x : {limits ? limits->low : NAN, limits ? limits->high : NAN})
      if (std::isfinite(x)) out += line(ax(x), kTop - 8, ax(x), bottom, kind);
  };
  ends(present_as_read(f), "m"), ends(f.learned.limits, "lim");
  return out + "</svg>";
}

}  // namespace pinproof::report
