// The page of a lot, with its plots.
#include <algorithm>
#include <cmath>

#include "quantity/text.h"
#include "quantity/url.h"
#include "report/drawing.h"
#include "report/lot.h"
#include "report/page.h"
#include "report/pages.h"

namespace pinproof::report {
namespace {

using lot::LotFigure;
using lot::LotStudy;

constexpr double kWide = 720;
constexpr std::size_t kDots = 400;  // of a strip
constexpr std::size_t kEnds = 3;    // of each end of a strip that lead to a report

bool is_coil(const LotFigure& f) {
  return f.name.check == "coil-resistance" || f.name.check == "coil-drive";
}

// What a plot of the figure spans: its limits and all of its values, with some room.
Interval span_of(const LotFigure& f) {
  Interval out{f.robust.middle, f.robust.middle};
  const auto widen = [&](double v) {
    if (std::isfinite(v)) {
      out.low = std::min(out.low, v);
      out.high = std::max(out.high, v);
    }
  };
  for (const auto& e : f.series.lowest()) widen(e.value);
  for (const auto& e : f.series.highest()) widen(e.value);
  for (const double v : {f.name.limit.low, f.name.limit.high}) widen(v);
  for (const double v : {f.dynamic_limits.low, f.dynamic_limits.high}) widen(v);
  const double room = out.high > out.low ? 0.04 * (out.high - out.low) : 1;
  return {out.low - room, out.high + room};
}

Markup dot(double x, double y) {
  return "<circle class=\"dot\"" + attribute("cx", x) + attribute("cy", y) + " r=\"1.8\"/>";
}

// A dot that leads to its pack's report, with room for a finger; a diamond where it stands out.
Markup linked_dot(const LotFigure& f, const metrology::Extreme& e, const LotLinks& links,
                  bool outlier, double x, double y) {
  const auto found = links.packs.find(e.part);
  if (found == links.packs.end()) return dot(x, y);
  const std::string serial = found->second.serial.empty() ? "no serial" : found->second.serial;
  const Markup shape =
      outlier ? "<path class=\"far\" d=\"M" + coordinate(x) + " " + coordinate(y - 5) +
                    "l5 5l-5 5l-5 -5z\"/>"
              : "<circle class=\"end\"" + attribute("cx", x) + attribute("cy", y) + " r=\"3\"/>";
  return report_link(found->second, "<title>" + plain(serial, 60) + ": " +
                                        plain(format_si(e.value, f.name.unit, 4)) +
                                        (outlier ? ", stands out"_html : ""_html) +
                                        "</title><rect class=\"touch\"" + attribute("x", x - 12) +
                                        attribute("y", y - 12) + " width=\"24\" height=\"24\"/>" +
                                        shape);
}

bool stands_out(const LotStudy& s, std::int64_t number) {
  return std::any_of(s.outliers.begin(), s.outliers.end(),
                     [&](const auto& o) { return o.number == number; });
}

// The ends in any case: they are what one looks for.
Markup ends_of(const LotStudy& s, const LotFigure& f, const LotLinks* links, const Axis& ax,
               double y) {
  Markup out;
  for (const auto& end : {f.series.lowest(), f.series.highest()})
    for (std::size_t k = 0; k < end.size(); ++k) {
      const bool outlier = links && stands_out(s, end[k].part);
      out += links && (outlier || k < kEnds)
                 ? linked_dot(f, end[k], *links, outlier, ax(end[k].value), y)
                 : dot(ax(end[k].value), y);
    }
  return out;
}

// Limits as strong lines, the lot's own as broken ones.
Markup limits_across(const LotFigure& f, const Axis& ax, double top, double bottom) {
  Markup out;
  for (const double v : {f.name.limit.low, f.name.limit.high})
    if (std::isfinite(v)) out += line(ax(v), top, ax(v), bottom, "limit");
  for (const double v : {f.dynamic_limits.low, f.dynamic_limits.high})
    if (std::isfinite(v)) out += line(ax(v), top, ax(v), bottom, "own");
  return out;
}

// One row a figure, each on its own scale from end to end of its limits.
Markup strip_plot(const LotStudy& s, const LotLinks* links) {
  std::vector<const LotFigure*> rows;
  for (const LotFigure& f : s.figures)
    if (is_coil(f)) rows.push_back(&f);
  constexpr double kRow = 34, kLeft = 310;
  Markup out = open_svg(kWide, kRow * double(rows.size()) + 8, "Every pack by coil figure",
                        links ? SvgRole::group : SvgRole::image);
  double y = 4;
  for (const LotFigure* f : rows) {
    const Interval span = span_of(*f);
    const Axis ax{span.low, span.high, kLeft, kWide - 8};
    out += label(kLeft - 8, y + 15, f->name.title, "end");
    out +=
        label(kLeft - 8, y + 28,
              format_si(span.low, f->name.unit, 4) + " … " + format_si(span.high, f->name.unit, 4),
              "end", "small");
    out += rectangle(kLeft, y + 2, kWide - 8 - kLeft, kRow - 6, "frame");
    const std::size_t step = std::max<std::size_t>(1, f->sample.size() / kDots);
    for (std::size_t k = 0; k < f->sample.size(); k += step)
      out += dot(ax(f->sample[k]), y + 6 + double((k * 7) % 19));
    out += limits_across(*f, ax, y + 2, y + kRow - 4);
    out += ends_of(s, *f, links, ax, y + 15);
    y += kRow;
  }
  return out + "</svg>";
}

Markup run_chart(const LotFigure& f) {
  constexpr double kHigh = 130;
  const auto& blocks = f.series.blocks();
  const Interval span = span_of(f);
  const Axis ax{0, double(std::max<std::size_t>(blocks.size(), 2) - 1), 56, kWide / 2 - 12};
  const Axis ay{span.low, span.high, kHigh - 20, 8};
  std::vector<double> x, mean;
  Markup out = open_svg(kWide / 2, kHigh, "Run chart of " + f.name.title);
  for (const double v : {f.name.limit.low, f.name.limit.high})
    if (std::isfinite(v)) out += line(56, ay(v), kWide / 2 - 12, ay(v), "limit");
  out += line(56, ay(f.robust.middle), kWide / 2 - 12, ay(f.robust.middle), "own");
  for (std::size_t k = 0; k < blocks.size(); ++k) {
    x.push_back(double(k));
    mean.push_back(blocks[k].sum / double(blocks[k].n));
    if (blocks[k].n > 1)
      out += line(ax(double(k)), ay(blocks[k].low), ax(double(k)), ay(blocks[k].high), "range");
  }
  out += path(x, mean, ax, ay, "run");
  out += label(52, ay(span.high) + 10, format_si(span.high, f.name.unit, 4), "end", "small");
  out += label(52, ay(span.low), format_si(span.low, f.name.unit, 4), "end", "small");
  return out + label(56, kHigh - 4, "first to last pack", "start", "small") + "</svg>";
}

Markup histogram(const LotFigure& f) {
  constexpr double kHigh = 130;
  constexpr std::size_t kBins = 30;
  const Interval span = span_of(f);
  std::vector<std::size_t> bins(kBins);
  for (const double v : f.sample) {
    const double at = (v - span.low) / (span.high - span.low) * double(kBins);
    ++bins[std::min(kBins - 1, static_cast<std::size_t>(std::max(0.0, at)))];
  }
  const double most = double(*std::max_element(bins.begin(), bins.end()));
  const Axis ax{span.low, span.high, 10, kWide / 2 - 12}, ay{0, std::max(most, 1.0), kHigh - 20, 8};
  const double wide = (kWide / 2 - 22) / double(kBins);
  Markup out = open_svg(kWide / 2, kHigh, "Histogram of " + f.name.title);
  for (std::size_t k = 0; k < kBins; ++k)
    if (bins[k] > 0)
      out += rectangle(10 + wide * double(k), ay(double(bins[k])), wide - 1,
                       kHigh - 20 - ay(double(bins[k])), "bin");
  out += limits_across(f, ax, 8, kHigh - 20);
  out += label(10, kHigh - 4, format_si(span.low, f.name.unit, 4), "start", "small");
  return out +
         label(kWide / 2 - 12, kHigh - 4, format_si(span.high, f.name.unit, 4), "end", "small") +
         "</svg>";
}

Markup pack_cell(const lot::LotOutlier& o, const LotLinks* links) {
  const Markup serial =
      o.attempt.serial.empty() ? Markup("no serial") : shown(o.attempt.serial, 60);
  Markup out = "<th scope=\"row\">" + (links ? report_link(o.attempt, serial) : serial) +
               "<br/><small>" + plain(o.attempt.id) + "</small>";
  if (links && !links->usual.empty())
    out += "<br/><a" +
           href("/compare?first=" + url_text(links->usual) + "&second=" + url_text(o.attempt.id)) +
           ">compare " + serial + " with " +
           (links->usual_serial.empty() ? Markup("a usual pack") : shown(links->usual_serial, 60)) +
           "</a>";
  return out + "</th>";
}

Markup outlier_table(const LotStudy& s, const LotLinks* links) {
  if (s.outliers.empty()) return "<p>No pack stands out.</p>"_html;
  Markup out = open_scroll("Packs that stand out") +
               "<table><thead><tr><th scope=\"col\">Pack</th><th scope=\"col\">Verdict</th><th "
               "scope=\"col\">By what it stands out</th></tr></thead><tbody>";
  for (const auto& o : s.outliers) {
    out += "<tr>" + pack_cell(o, links) + "<td>" + state(lot_verdict(o)) + "</td><td>";
    for (const auto& reason : o.reasons) out += "<p>" + plain(reason) + "</p>";
    out += "</td></tr>";
  }
  if (s.outliers_left_out > 0)
    out += "<tr><td colspan=\"3\">and more: " + digits(s.outliers_left_out) +
           " reasons not listed</td></tr>";
  return out + "</tbody></table></div>";
}

constexpr char kPlotStyle[] =
    "svg .dot{fill:currentColor;opacity:.45}svg .limit{stroke:currentColor;stroke-width:2}svg "
    ".own{stroke:currentColor;stroke-width:1.2;stroke-dasharray:5 4}svg "
    ".frame{fill:none;stroke:currentColor;opacity:.25}svg .bin{fill:currentColor;opacity:.55}svg "
    ".range{stroke:currentColor;opacity:.35;stroke-width:2}svg "
    ".run{fill:none;stroke:currentColor;stroke-width:1.3}svg "
    ".small{font-size:10px;opacity:.8}svg .touch{fill:transparent}svg .end{fill:var(--blue)}svg "
    ".far{fill:var(--bad);stroke:var(--paper)}@media print{figure "
    "svg{max-height:235mm}}td:nth-child(2){white-space:nowrap}td p{margin:.1rem "
    "0}th small{font-weight:400}.pair{display:flex;flex-"
    "wrap:wrap;gap:8px}.pair svg{flex:1 1 300px}";

std::string page(const LotStudy& s, const LotLinks* links) {
  Markup out = (links ? navigation("") : Markup()) + "<main><h1>Lot " + shown(s.lot, 120) +
               "</h1><p>" + plain(s.profile_name) + "</p><p><strong>" + plain(lot_verdict(s)) +
               "</strong></p>";
  out += "<h2>Packs that stand out</h2>" + outlier_table(s, links);
  if (std::any_of(s.figures.begin(), s.figures.end(), is_coil)) {
    out += "<h2>Every pack by coil</h2><figure>" + strip_plot(s, links) +
           "<figcaption>A dot is a pack. Strong lines: the profile's limits; broken lines: this "
           "lot's own (part average)." +
           (links ? " Diamonds: packs that stand out. Larger dots and diamonds lead to the pack's "
                    "report."_html
                  : ""_html) +
           "</figcaption></figure><h2>Along the lot, and how it spreads</h2>";
    for (const LotFigure& f : s.figures)
      if (is_coil(f))
        out += "<h3>" + plain(f.name.title) + "</h3><div class=\"pair\">" + run_chart(f) +
               histogram(f) + "</div>";
  }
  out += "<h2>All figures</h2><pre tabindex=\"0\" role=\"group\" aria-label=\"All figures\">" +
         escape_lines(lot_text(s, true)) + "</pre></main>";
  return document("Lot " + s.lot, kPlotStyle + running_heads("Lot " + s.lot, s.profile_name), out);
}

}  // namespace

LotLinks lot_links(const LotStudy& s, const record::Ledger& ledger) {
  LotLinks out;
  for (const auto& o : s.outliers) out.packs.emplace(o.number, o.attempt);
  for (const LotFigure& f : s.figures) {
    if (!is_coil(f)) continue;
    for (const auto& end : {f.series.lowest(), f.series.highest()})
      for (std::size_t k = 0; k < std::min(end.size(), kEnds); ++k)
        if (!out.packs.contains(end[k].part))
          out.packs.emplace(end[k].part, ledger.attempt(end[k].part));
  }
  record::LedgerQuery usual;
  usual.lot = s.lot;
  usual.verdict = "accept";
  usual.at_most = s.outliers.size() + 1;
  for (const auto& a : ledger.find(usual))
    if (out.usual.empty() && !stands_out(s, a.number)) {
      out.usual = a.id;
      out.usual_serial = a.serial;
    }
  return out;
}

std::string lot_html(const LotStudy& s) { return page(s, nullptr); }
std::string lot_html(const LotStudy& s, const LotLinks& links) { return page(s, &links); }

}  // namespace pinproof::report
