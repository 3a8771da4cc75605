#include "report/coil_plots.h"

#include <algorithm>
#include <cmath>
#include <tuple>

#include "quantity/text.h"
#include "report/drawing.h"

namespace pinproof::report {
namespace {

constexpr double kWidth = 720, kLeft = 62, kRight = 706, kTop = 24, kBottom = 270, kHeight = 304;

struct PlotRange {
  double low = 0, high = 0;
  void take(double x) {
    if (std::isfinite(x)) low = std::min(low, x), high = std::max(high, x);
  }
  Axis axis(double from, double to) const {
    const double room = std::max(1e-12, 0.06 * (high - low));
    return {low < 0 ? low - room : low, high + room, from, to};
  }
};

Markup event_mark(const waveform::CurrentEvent& e, const std::string& text, const Axis& ax,
                  const Axis& ay, double dy) {
  const double x = ax(1e3 * e.at_s), y = ay(e.current_A);
  const bool right = x > 0.75 * kRight;
  return ring(x, y) + label(right ? x - 8 : x + 8, y + dy,
                            text + " " + format_si(e.at_s, Unit::second, 3),
                            right ? "end" : "start");
}

// By x.
void sort_together(std::vector<double>& x, std::vector<double>& y) {
  std::vector<std::pair<double, double>> points;
  for (std::size_t k = 0; k < x.size(); ++k) points.emplace_back(x[k], y[k]);
  std::sort(points.begin(), points.end());
  for (std::size_t k = 0; k < x.size(); ++k) std::tie(x[k], y[k]) = points[k];
}

double rise_end_ms(const waveform::CoilFigures& f) {
  if (f.pull_in) return 3e3 * f.pull_in->at_s;
  if (f.travel_end) return 2e3 * f.travel_end->at_s;
  return std::isfinite(f.time_constant_s.value) ? 5e3 * f.time_constant_s.value : 25;
}

Markup current_line(const waveform::Capture& c, double onset_s, double end_ms, const Axis& ax,
                    const Axis& ay, std::string_view kind) {
  const double x0 = 1e3 * (c.start_s - onset_s), dx = 1e3 * c.interval_s;
  const double n = std::clamp((end_ms - x0) / dx, 1.0, static_cast<double>(c.current_A.size()));
  const double skip = std::clamp((ax.from - x0) / dx, 0.0, n - 1);
  const std::vector<double> part(c.current_A.begin() + static_cast<std::ptrdiff_t>(skip),
                                 c.current_A.begin() + static_cast<std::ptrdiff_t>(n));
  return polyline(part, x0 + std::floor(skip) * dx, dx, ax, ay, kind);
}

}  // namespace

Markup rise_plot(const CoilStudy& s) {
  const auto& f = s.figures;
  const double end_ms = rise_end_ms(f);
  PlotRange amps;
  for (const double i : s.capture.current_A) amps.take(i);
  const Axis ax{-0.05 * end_ms, end_ms, kLeft, kRight}, ay = amps.axis(kBottom, kTop);
  Markup out = open_svg(kWidth, kHeight, s.name + ": rise of the current");
  out += grid(ax, ay, "A", "ms from switch-on");
  for (std::size_t k = 0; k < s.known_good.size(); ++k)
    out += current_line(s.known_good[k], s.known_good_onset_s[k], end_ms, ax, ay, "o");
  out += current_line(s.capture, f.onset_s, end_ms, ax, ay, "i");
  if (f.fit.samples > 0) {
    std::vector<double> x, y;
    for (int k = 0; k <= 200; ++k) {
      x.push_back(end_ms * k / 200);
      y.push_back(f.fit.at(1e-3 * x.back()));
    }
    out += path(x, y, ax, ay, "m");
  }
  if (f.travel_begin) {
    const double x = ax(1e3 * f.travel_begin->at_s);
    out += line(x, kTop, x, kBottom, "mark") +
           label(x - 5, kTop + 12,
                 "travel begins " + format_si(f.travel_begin->at_s, Unit::second, 3), "end");
  }
  if (f.current_peak) out += event_mark(*f.current_peak, "peak", ax, ay, -8);
  if (f.pull_in) out += event_mark(*f.pull_in, "seated", ax, ay, 18);
  return out + "</svg>";
}

Markup loop_plot(const std::vector<waveform::LoopPoint>& loop, const std::string& title) {
  if (loop.empty()) return {};
  PlotRange amps, flux;
  for (const auto& p : loop) amps.take(p.current_A), flux.take(1e3 * p.linkage_Vs);
  const Axis ax = amps.axis(kLeft, kRight), ay = flux.axis(kBottom, kTop);
  std::vector<double> on_x, on_y, off_x, off_y;
  for (const auto& p : loop) {
    const bool on = std::isfinite(p.travel_share);
    (on ? on_x : off_x).push_back(p.current_A);
    (on ? on_y : off_y).push_back(1e3 * p.linkage_Vs);
  }
  return open_svg(kWidth, kHeight, title + ": flux linkage against magnetising current") +
         grid(ax, ay, "mVs", "A, eddy current taken off") + path(off_x, off_y, ax, ay, "v") +
         path(on_x, on_y, ax, ay, "i") + "</svg>";
}

Markup travel_plot(const waveform::Magnetics& m, const waveform::CoilFigures& f) {
  std::vector<double> x, y;
  const double end_ms = rise_end_ms(f);
  PlotRange share;
  for (const auto& p : m.loop) {
    if (!std::isfinite(p.travel_share) || 1e3 * p.at_s > end_ms) continue;
    x.push_back(1e3 * p.at_s), y.push_back(100 * std::clamp(p.travel_share, -0.2, 1.0));
    share.take(y.back());
  }
  if (x.empty()) return {};
  const Axis ax{0, end_ms, kLeft, kRight}, ay = share.axis(kBottom, kTop);
  Markup out = open_svg(kWidth, kHeight, "Travel against time");
  out += grid(ax, ay, "%", "ms from switch-on") + path(x, y, ax, ay, "i2");
  const auto mark = [&](const waveform::CurrentEvent& e, const char* text) {
    const double at = ax(1e3 * e.at_s);
    out += line(at, kTop, at, kBottom, "mark") + label(at + 5, kTop + 12, text, "start");
  };
  if (f.travel_begin) mark(*f.travel_begin, "begins");
  if (f.pull_in) mark(*f.pull_in, "seated");
  if (f.travel_end) mark(*f.travel_end, "95 %");
  return out + "</svg>";
}

Markup duty_plot(const waveform::DutySweep& sweep) {
  PlotRange amps;
  std::vector<double> up_x, up_y, down_x, down_y, ripple_x, ripple_y;
  for (const auto& l : sweep.levels) {
    (l.rising ? up_x : down_x).push_back(100 * l.duty);
    (l.rising ? up_y : down_y).push_back(l.mean_A.value);
    ripple_x.push_back(100 * l.duty), ripple_y.push_back(l.ripple_A);
    amps.take(l.mean_A.value + l.ripple_A / 2);
  }
  sort_together(up_x, up_y);
  sort_together(down_x, down_y);
  sort_together(ripple_x, ripple_y);
  const Axis ax{0, 100, kLeft, kRight}, ay = amps.axis(kBottom, kTop);
  Markup out = open_svg(kWidth, kHeight, "Mean current and ripple against duty");
  out += grid(ax, ay, "A", "% duty") + path(up_x, up_y, ax, ay, "i") +
         path(down_x, down_y, ax, ay, "v") + path(ripple_x, ripple_y, ax, ay, "m");
  return out + "</svg>";
}

}  // namespace pinproof::report
