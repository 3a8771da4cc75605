// Whether each on/off coil will still pull in hot and at the lowest supply, told
// from the one capture that was taken of it.
#include <cmath>

#include "inspection/checks/check.h"
#include "inspection/checks/coil_expected.h"
#include "inspection/checks/coil_traces.h"
#include "metrology/copper.h"
#include "quantity/text.h"
#include "waveform/margin.h"

namespace pinproof::inspection {
namespace {

constexpr std::string_view kName = "coil-hot-margin";

void plan_nothing(const profile::Profile&, const Capabilities&, Plan&) {}

waveform::Margin margin_of(const Evidence& evidence, const profile::Coil& coil,
                           const waveform::CoilFigures& figures) {
  const Estimate now = copper_ratio_of(evidence.celsius());
  const double hot = metrology::copper_ratio(*coil.hot_celsius, 20) / now.value;
  return waveform::margin_at(figures, *coil.hot_supply_V, {hot, hot * now.u / now.value});
}

void judge_coil(const Evidence& evidence, const profile::Part& part, const CoilTrace& trace,
                Judgement& out) {
  const profile::Coil& coil = *part.coil();
  const auto margin = margin_of(evidence, coil, trace.figures);
  const std::string at = format_si(*coil.hot_celsius, Unit::celsius, 3) + " and " +
                         format_si(*coil.hot_supply_V, Unit::volt, 3);
  Result result;
  result.subject = part.name;
  result.aspect = "pulls-in-hot@" + exact(*coil.hot_celsius) + "," + exact(*coil.hot_supply_V);
  result.title = "Coil " + part.name + ": pulls in at " + at;
  result.required = part.required;
  if (!margin.reason.empty()) {
    result.outcome = Outcome::undecided;
    result.text = margin.reason;
    out.results.push_back(std::move(result));
    return;
  }
  judge_number(evidence, {100 * margin.margin.value, 100 * margin.margin.u}, Unit::percent,
               {0, INFINITY}, result);
  result.text += "; gets " + format_estimate(margin.hot_current_A, Unit::ampere) + ", needs " +
                 format_estimate(margin.needed_current_A, Unit::ampere);
  if (result.outcome == Outcome::fail)
    out.findings.push_back({"no-hot-margin",
                            part.name,
                            "Coil " + part.name + " will not pull in at " + at + ".",
                            {},
                            {result.title + ": " + result.text},
                            "Too strong a spring, friction, too weak a magnet, or too much "
                            "resistance: see its other findings."});
  out.results.push_back(std::move(result));
}

void judge(const Evidence& evidence, Judgement& out) {
  for (const profile::Part& part : evidence.profile().parts) {
    const bool wanted = part.coil() && part.coil()->hot_celsius && part.coil()->hot_supply_V &&
                        part.coil()->coil_class == profile::CoilClass::on_off;
    const auto* trace = wanted ? trace_of(out, part.name) : nullptr;
    if (trace && trace->figures.status == waveform::Status::ok)
      judge_coil(evidence, part, *trace, out);
  }
}

}  // namespace

const CheckKind kHotMargin{.name = kName,
                           .heading = "Hot margin",
                           .driven = true,
                           .plan = plan_nothing,
                           .follow_up = nullptr,
                           .judge = judge};

}  // namespace pinproof::inspection
