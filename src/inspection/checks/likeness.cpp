// Each driven coil against its sisters: equal coils of one pack share lot and
// temperature, so that what sets one apart is a fault before it leaves its limits.
#include <algorithm>
#include <cmath>

#include "inspection/checks/check.h"
#include "inspection/checks/coil_expected.h"
#include "inspection/checks/coil_traces.h"
#include "quantity/text.h"
#include "waveform/causes.h"

namespace pinproof::inspection {
namespace {

constexpr std::string_view kName = "coil-likeness";
constexpr std::size_t kFewestSisters = 3;
constexpr double kFaulty = 1e-3;  // probability of a good unit: below, a verdict rests on it

void plan_nothing(const profile::Profile&, const Capabilities&, Plan&) {}

bool are_sisters(const profile::Part& a, const profile::Part& b) {
  return a.name != b.name && are_equal(a, b) &&
         a.coil()->suppression.kind == b.coil()->suppression.kind;
}

// A sister that is out of order itself is none to compare with.
bool is_sound(const Judgement& judgement, const std::string& part) {
  return std::none_of(judgement.findings.begin(), judgement.findings.end(),
                      [&](const Finding& f) { return f.part == part; });
}

std::vector<waveform::GoodCapture> sisters_of(const Evidence& evidence, const Judgement& judgement,
                                              const profile::Part& part) {
  std::vector<waveform::GoodCapture> out;
  for (const profile::Part& other : evidence.profile().parts) {
    if (!are_sisters(part, other) || !is_sound(judgement, other.name)) continue;
    const auto* trace = trace_of(judgement, other.name);
    if (trace && trace->figures.status == waveform::Status::ok)
      out.push_back({trace->figures, {1, 0}});
  }
  return out;
}

void judge_coil(const Evidence& evidence, const profile::Part& part, const CoilTrace& trace,
                Judgement& out) {
  const auto sisters = sisters_of(evidence, out, part);
  if (sisters.size() < kFewestSisters) return;
  const auto findings = waveform::explain(trace.figures, {1, 0}, waveform::learn_expected(sisters));
  const auto seen = std::find_if(findings.begin(), findings.end(),
                                 [](const auto& f) { return f.probability > 0; });
  Result result;
  result.subject = part.name;
  result.aspect = "like-sisters";
  result.title = "Coil " + part.name + ": like its sister coils";
  result.required = part.required;
  if (seen == findings.end()) {
    result.outcome = Outcome::pass;
    result.text = "nothing sets it apart from " + std::to_string(sisters.size()) + " equal coils";
  } else {
    // That a coil is faulty can be sure while which of two faults it is is not.
    const bool faulty = seen->good_unit < kFaulty;
    result.outcome = faulty ? Outcome::fail : Outcome::undecided;
    result.text = seen->text;
    for (const std::string& rival : seen->rivals) result.text += "; or " + rival;
    if (faulty && is_sound(out, part.name))
      out.findings.push_back({seen->kind,
                              part.name,
                              "Coil " + part.name + ": " + seen->text + ".",
                              {},
                              {result.title + ": " + result.text},
                              seen->advice});
  }
  out.results.push_back(std::move(result));
}

void judge(const Evidence& evidence, Judgement& out) {
  for (const profile::Part& part : evidence.profile().parts) {
    const auto* trace = part.coil() ? trace_of(out, part.name) : nullptr;
    if (trace && trace->figures.status == waveform::Status::ok)
      judge_coil(evidence, part, *trace, out);
  }
}

}  // namespace

const CheckKind kLikeness{.name = kName,
                          .heading = "Sister coils",
                          .driven = true,
                          .plan = plan_nothing,
                          .follow_up = nullptr,
                          .judge = judge};

}  // namespace pinproof::inspection
