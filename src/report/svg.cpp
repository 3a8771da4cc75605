#include "report/svg.h"

#include <algorithm>
#include <cmath>
#include <set>

#include "quantity/lines.h"
#include "quantity/text.h"
#include "report/drawing.h"

namespace pinproof::report {
namespace {

// Whichever limits there are, with room for the value and its uncertainty.
Axis bar_axis(const inspection::Result& r, double left, double right) {
  const double U = 2 * r.value->u;
  double low = std::isfinite(r.limit->low) ? r.limit->low : std::min(0.0, r.value->value - U);
  double high =
      std::isfinite(r.limit->high) ? r.limit->high : std::max(2 * r.limit->low, r.value->value + U);
  low = std::min(low, r.value->value - U);
  high = std::max(high, r.value->value + U);
  const double room = std::max(0.08 * (high - low), 1e-12);
  return {low - room, high + room, left, right};
}

struct Pitch {
  double across, down;
};

std::string face_title(const std::set<std::string>& marked) {
  std::string out = "Connector face, looking into the pack.";
  std::string pins;
  for (const std::string& pin : marked)
    if (pin != "case") pins += (pins.empty() ? " " : ", ") + pin;
  if (!pins.empty()) out += " Crossed squares: pins" + pins + ".";
  if (marked.contains("case")) out += " The case too.";
  return out;
}

Markup pin_drawn(double x, double y, const std::string& number, bool marked) {
  Markup out;
  if (marked) {
    out = rectangle(x - 17, y - 17, 34, 34, "bad");
    for (const double dx : {-1.0, 1.0})
      for (const double dy : {-1.0, 1.0})
        out += line(x + 17 * dx, y + 17 * dy, x + 10 * dx, y + 10 * dy, "badx");
  } else {
    out = "<circle class=\"pin\"" + attribute("cx", x) + attribute("cy", y) + attribute("r", 16) +
          "/>";
  }
  return out + label(x, y + 5, std::string(head(number, 4)), "middle", "n");
}

// In two lines of what fits beneath a pin.
Markup signal_of(const profile::Connector& connector, const std::string& number, double x,
                 double y) {
  constexpr std::size_t kFits = 15;
  for (const auto& pin : connector.pins) {
    if (pin.number != number) continue;
    std::size_t cut = pin.signal.size();
    if (columns(pin.signal) > kFits) cut = pin.signal.rfind(' ', kFits);
    if (cut == std::string::npos) cut = head(pin.signal, kFits).size();
    std::string second = cut < pin.signal.size() ? pin.signal.substr(cut + 1) : "";
    if (columns(second) > kFits) second = std::string(head(second, kFits - 1)) + "…";
    return label(x, y, pin.signal.substr(0, cut), "middle", "sig") +
           label(x, y + 11, second, "middle", "sig");
  }
  return {};
}

}  // namespace

Markup limit_bar(const inspection::Result& r) {
  if (!r.value || !r.limit || !r.value->usable()) return {};
  constexpr double kWide = 220, kHeight = 26, kTop = 7, kTall = 12;
  const Axis ax = bar_axis(r, 2, kWide - 2);
  const double low = std::isfinite(r.limit->low) ? ax(r.limit->low) : ax.at_from;
  const double high = std::isfinite(r.limit->high) ? ax(r.limit->high) : ax.at_to;
  const double band = std::min(ax(ax.from + r.guard_band) - ax.at_from, (high - low) / 2);
  Markup out = open_svg(kWide, kHeight, r.title + ": " + r.text);
  out += rectangle(low, kTop, high - low, kTall, "ok");
  if (std::isfinite(r.limit->low))
    out += rectangle(low, kTop, band, kTall, "guard") +
           line(low, kTop - 4, low, kTop + kTall + 4, "lim");
  if (std::isfinite(r.limit->high))
    out += rectangle(high - band, kTop, band, kTall, "guard") +
           line(high, kTop - 4, high, kTop + kTall + 4, "lim");
  const double y = kTop + kTall / 2;
  const double from = ax(r.value->value - 2 * r.value->u), to = ax(r.value->value + 2 * r.value->u);
  out += line(from, y, to, y, "u") + line(from, y - 4, from, y + 4, "u") +
         line(to, y - 4, to, y + 4, "u");
  out += "<circle class=\"dot\"" + attribute("cx", ax(r.value->value)) + attribute("cy", y) +
         attribute("r", 3.5) + "/>";
  return out + "</svg>";
}

Markup connector_face(const Input& input) {
  std::set<std::string> marked;
  for (const auto& finding : input.judgement->findings)
    marked.insert(finding.pins.begin(), finding.pins.end());
  return connector_face(input.profile->connector, marked, false);
}

Markup connector_face(const profile::Connector& connector, const std::set<std::string>& marked,
                      bool with_signals) {
  const auto& face = connector.face;
  const Pitch pitch = with_signals ? Pitch{78, 64} : Pitch{44, 44};
  std::size_t longest = 1;
  for (const auto& row : face) longest = std::max(longest, row.size());
  const double w = static_cast<double>(longest) * pitch.across + 24,
               h = static_cast<double>(face.size()) * pitch.down + 24;
  Markup out = open_svg(w, h, face_title(marked));
  out += "<rect" + attribute("class", marked.contains("case") ? "shellbad" : "shell") +
         " x=\"2\" y=\"2\" rx=\"16\"" + attribute("width", w - 4) + attribute("height", h - 4) +
         "/>";
  for (std::size_t r = 0; r < face.size(); ++r) {
    const double shift = static_cast<double>(longest - face[r].size()) * pitch.across / 2;
    for (std::size_t c = 0; c < face[r].size(); ++c) {
      if (face[r][c].empty()) continue;
      const double x = 12 + shift + (static_cast<double>(c) + 0.5) * pitch.across,
                   y = 12 + (static_cast<double>(r) + 0.5) * pitch.down - (with_signals ? 12 : 0);
      out += pin_drawn(x, y, face[r][c], marked.contains(face[r][c]));
      if (with_signals) out += signal_of(connector, face[r][c], x, y + 30);
    }
  }
  return out + "</svg>";
}

Markup waveform_plot(const record::PulseCapture& capture, const inspection::CoilTrace& trace) {
  constexpr double kWide = 720, kLeft = 52, kRight = 706;
  const auto& f = trace.figures;
  const double zero_s = f.status == waveform::Status::ok ? f.onset_s : 0;
  const double x0 = 1e3 * (capture.start_s - zero_s), dx = 1e3 * capture.interval_s;
  const Axis ax{x0, x0 + dx * static_cast<double>(capture.current_A.size()), kLeft, kRight};
  // Above, the rise with its dip, drawn large; below, the whole pulse.
  const double rise_ms =
      f.pull_in ? std::min(4e3 * f.pull_in->at_s, ax.to) : std::min(0.35 * ax.to, 25.0);
  const Axis ar{x0, rise_ms, kLeft, kRight};
  const auto shown = static_cast<std::ptrdiff_t>(
      std::clamp((rise_ms - x0) / dx, 1.0, static_cast<double>(capture.current_A.size())));
  const std::vector<double> rise(capture.current_A.begin(), capture.current_A.begin() + shown);
  const auto span = [](const std::vector<double>& v) {
    return std::pair{*std::min_element(v.begin(), v.end()), *std::max_element(v.begin(), v.end())};
  };
  const auto [i_low, i_high] = span(capture.current_A);
  const auto [v_low, v_high] = span(capture.probe_V);
  const Axis ai{std::min(0.0, i_low), 1.1 * std::max(i_high, 1e-3), 230, 24};
  const Axis av{std::min(0.0, 1.05 * v_low), 1.1 * std::max(v_high, 0.1), 390, 290};
  Markup out = open_svg(kWide, 424, "Coil " + trace.coil + ": current and voltage against time");
  out += grid(ar, ai, "A", "ms from switch-on") + polyline(rise, x0, dx, ar, ai, "i");
  out += grid(ax, av, "V", "ms from switch-on") + polyline(capture.probe_V, x0, dx, ax, av, "v");
  if (f.fit.samples > 0) {
    std::vector<double> model;
    const double from = f.fit.from_s,
                 to = std::min({3 * f.fit.to_s, capture.pulse_s, rise_ms / 1e3});
    for (int k = 0; k <= 200; ++k)
      model.push_back(std::min(f.fit.at(from + (to - from) * k / 200), ai.to));
    out += polyline(model, 1e3 * from, 1e3 * (to - from) / 200, ar, ai, "m");
    out +=
        label(ar(1e3 * f.fit.to_s) + 4, ai(0) - 6, "fit ends here", "start") +
        line(ar(1e3 * f.fit.to_s), ai(0), ar(1e3 * f.fit.to_s), ai(f.fit.at(f.fit.to_s)), "mark");
  }
  const auto mark = [&](const waveform::CurrentEvent& e, const std::string& text, double dy) {
    const double x = ar(1e3 * e.at_s), y = ai(e.current_A);
    out += "<circle class=\"ring\"" + attribute("cx", x) + attribute("cy", y) +
           attribute("r", 4.5) + "/>" +
           label(x + 8, y + dy, text + " " + format_si(e.at_s, Unit::second, 3), "start");
  };
  if (f.current_peak) mark(*f.current_peak, "peak", -8);
  if (f.pull_in) mark(*f.pull_in, "seated", 16);
  return out + "</svg>";
}

}  // namespace pinproof::report
