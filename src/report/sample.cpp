#include "report/sample.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <nlohmann/json.hpp>
#include <vector>

#include "quantity/lines.h"
#include "quantity/phrase.h"
#include "report/drawing.h"
#include "report/page.h"

namespace pinproof::report {
namespace {

using Json = nlohmann::ordered_json;
using SwitchingState = metrology::SwitchingState;

constexpr double kConsumer = 0.1;  // the chance at which a bad lot is said to pass
constexpr std::size_t kBar = 46;

std::string name_of(SwitchingState state) {
  return state == SwitchingState::normal      ? "normal"
         : state == SwitchingState::tightened ? "tightened"
                                              : "discontinued";
}

// Greatest number of bad parts in the lot that still pass with the consumer's chance.
std::size_t passes_with(const SampleCase& one) {
  std::size_t bad = one.plan.Ac;
  while (bad < one.lot && metrology::accept_probability(one.plan, one.lot, bad + 1) >= kConsumer)
    ++bad;
  return bad;
}

std::string verdict(const SampleCase& one) {
  if (one.state == SwitchingState::discontinued)
    return "No sampling any more: five lots were refused under tightened inspection. Test every "
           "part until the supplier has acted.";
  std::string out = one.whole_lot
                        ? "Test all " + counted(one.lot, "part") + ": the plan wants no fewer. "
                        : "Test " + counted(one.plan.n, "part") + " of " + std::to_string(one.lot) +
                              ", drawn at random from all boxes. ";
  out +=
      "The lot passes with " +
      (one.plan.Ac == 0 ? std::string("no bad one") : "up to " + counted(one.plan.Ac, "bad one")) +
      ".";
  if (const auto accepted = one.accepted())
    out += " Found " + (*one.bad == 0 ? std::string("no bad one") : counted(*one.bad, "bad one")) +
           ": the lot is " + (*accepted ? "ACCEPTED." : "REJECTED.") +
           (*accepted && *one.bad > 0 ? " The bad ones go back all the same." : "");
  return out;
}

// One bar a number of bad parts, until hardly any such lot passes.
void add_bars(const SampleCase& one, std::string& out) {
  const std::size_t last = std::min(one.lot, std::max<std::size_t>(passes_with(one) * 3 / 2, 4));
  const std::size_t step = std::max<std::size_t>(1, (last + 13) / 14);
  out += "\nChance that this lot passes, by the bad parts in it (hypergeometric)\n";
  for (std::size_t bad = 0; bad <= last; bad += step) {
    const double Pa = metrology::accept_probability(one.plan, one.lot, bad);
    char text[64];
    std::snprintf(text, sizeof text, "  %5zu  %7s  ", bad, percent(Pa, 1).c_str());
    out += text + std::string(static_cast<std::size_t>(std::lround(Pa * double(kBar))), '#') + "\n";
  }
}

Markup page_plot(const SampleCase& one) {
  constexpr double kWide = 640, kHigh = 300;
  const double p10 = metrology::share_at(one.plan, 0.1);
  const double most = std::min(1.0, 1.6 * p10);
  const Axis ax{0, 100 * most, 56, kWide - 16}, ay{0, 100, kHigh - 40, 16};
  std::vector<double> process_x, process_y, lot_x, lot_y;
  for (int k = 0; k <= 200; ++k) {
    const double share = most * k / 200;
    process_x.push_back(100 * share);
    process_y.push_back(100 * metrology::accept_probability(one.plan, share));
  }
  for (std::size_t bad = 0; bad <= one.lot && double(bad) / double(one.lot) <= most; ++bad) {
    lot_x.push_back(100 * double(bad) / double(one.lot));
    lot_y.push_back(100 * metrology::accept_probability(one.plan, one.lot, bad));
  }
  Markup out = open_svg(kWide, kHigh, "Operating characteristic of the plan");
  out += grid(ax, ay, "% pass", "% bad");
  out += path(process_x, process_y, ax, ay, "i");
  if (lot_x.size() >= 60) out += path(lot_x, lot_y, ax, ay, "m");  // rings would run together
  for (std::size_t k = 0; k < lot_x.size() && lot_x.size() < 60; ++k)
    out += ring(ax(lot_x[k]), ay(lot_y[k]));
  return out + "</svg>";
}

}  // namespace

std::string sample_text(const SampleCase& one) {
  std::string out;
  char head_line[160];
  std::snprintf(head_line, sizeof head_line,
                "Lot of %zu, level %s, AQL %.2f %%, %s inspection: code letter %c", one.lot,
                one.level.c_str(), one.AQL, name_of(one.state).c_str(), one.letter);
  wrap(out, "", head_line);
  wrap(out, "", verdict(one));
  if (one.state == SwitchingState::discontinued || one.whole_lot) return out;
  add_bars(one, out);
  out += "\n";
  const std::size_t bad = passes_with(one);
  wrap(out, "",
       "A lot with " + counted(bad, "bad part") + " (" + percent(double(bad) / double(one.lot), 1) +
           ") still passes once in ten times. The AQL is about the supplier's process over many "
           "lots, not about this one: of a process with " +
           percent(one.AQL / 100, 2) + " bad, " +
           percent(metrology::accept_probability(one.plan, one.AQL / 100), 1) +
           " of the lots pass.");
  return out;
}

std::string sample_json(const SampleCase& one) {
  const bool plan = one.state != SwitchingState::discontinued;
  const auto accepted = one.accepted();
  Json curve = Json::array();
  for (std::size_t bad = 0; plan && bad <= one.lot; ++bad) {
    const double Pa = metrology::accept_probability(one.plan, one.lot, bad);
    curve.push_back({{"bad", bad}, {"pass_probability", Pa}});
    if (Pa < 1e-3) break;
  }
  return Json{{"schema", "pinproof/sample/1"},
              {"lot_size", one.lot},
              {"level", one.level},
              {"aql_percent", one.AQL},
              {"severity", name_of(one.state)},
              {"code_letter", std::string(1, one.letter)},
              {"sample_size", plan ? Json(one.plan.n) : Json()},
              {"acceptance_number", plan ? Json(one.plan.Ac) : Json()},
              {"whole_lot", one.whole_lot},
              {"pass_probability_at_aql",
               plan ? Json(metrology::accept_probability(one.plan, one.AQL / 100)) : Json()},
              {"by_bad_in_lot", curve},
              {"bad", one.bad ? Json(*one.bad) : Json()},
              {"verdict", !accepted ? Json() : Json(*accepted ? "accept" : "reject")}}
             .dump(2) +
         "\n";
}

std::string sample_html(const SampleCase& one) {
  Markup out = "<main><h1>Sampling plan</h1><p>" + plain(verdict(one)) + "</p>";
  if (one.state != SwitchingState::discontinued && !one.whole_lot)
    out += "<figure>" + page_plot(one) +
           "<figcaption>Chance that a lot passes, in percent, against the bad parts in it, in "
           "percent. Line: a process (binomial). Rings or dashes: this one lot "
           "(hypergeometric).</figcaption></figure>";
  out += "<h2>Plan</h2><pre>" + escape_lines(sample_text(one)) + "</pre></main>";
  return document("Sampling plan", {}, out);
}

}  // namespace pinproof::report
