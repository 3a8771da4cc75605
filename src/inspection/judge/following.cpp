#include "inspection/judge/following.h"

#include <algorithm>
#include <cmath>

#include "inspection/checks/check.h"
#include "metrology/accuracy.h"

namespace pinproof::inspection {
namespace {

bool is_driven(const record::Event& event) {
  if (std::holds_alternative<record::PulseCapture>(event)) return true;
  return std::holds_alternative<record::Finished>(event);
}

}  // namespace

Following::Following(const profile::Profile& profile, record::Header header) : profile_(profile) {
  record_.header = std::move(header);
  // What nobody has read yet is no news.
  const Judgement blank = judge_kinds(true);
  for (const Result& r : blank.results) results_[r.id()] = {r.outcome, r.text};
  for (const Finding& f : blank.findings) findings_[f.id()] = f.text;
}

Judgement Following::judge_kinds(bool driven, std::string_view only) const {
  Judgement out;
  const Evidence evidence(profile_, record_);
  for (const CheckKind* kind : check_kinds()) {
    if (kind->driven && (!driven || !evidence.full())) continue;
    if (!only.empty() && kind->name != only) continue;
    const std::size_t before = out.results.size();
    kind->judge(evidence, out);
    for (std::size_t i = before; i < out.results.size(); ++i) out.results[i].check = kind->name;
  }
  return out;
}

Following::JudgementChange Following::add(std::vector<record::Event> events) {
  const bool driven = std::any_of(events.begin(), events.end(), is_driven);
  for (record::Event& event : events) record_.events.push_back(std::move(event));
  Judgement now = judge_kinds(driven);
  JudgementChange out;
  for (Result& r : now.results) {
    const auto [it, fresh] = results_.try_emplace(r.id(), SeenResult{r.outcome, r.text});
    if (!fresh && it->second.outcome == r.outcome && it->second.text == r.text) continue;
    it->second = {r.outcome, r.text};
    // Some results are there only once others are: not yet read is still no news.
    if (fresh && r.unread) continue;
    out.results.push_back(std::move(r));
  }
  for (Finding& f : now.findings) {
    std::string& told = findings_[f.id()];
    if (std::exchange(told, f.text) != f.text) out.findings.push_back(std::move(f));
  }
  for (CoilTrace& t : now.traces) {
    const auto [it, fresh] = traces_.try_emplace(t.coil, t.event);
    if (!fresh && std::exchange(it->second, t.event) == t.event) continue;
    out.traces.push_back(std::move(t));
  }
  out.lever = !std::equal(now.lever.begin(), now.lever.end(), lever_.begin(), lever_.end(),
                          [](const LeverRow& a, const LeverRow& b) {
                            return a.position == b.position && a.seen == b.seen;
                          });
  lever_ = std::move(now.lever);
  return out;
}

std::optional<Result> Following::would_be(const record::Reading& reading) {
  const Judgement before = judge_kinds(false, reading.key.check);
  record_.events.emplace_back(reading);
  Judgement after = judge_kinds(false, reading.key.check);
  record_.events.pop_back();
  std::optional<Result> out;
  for (Result& r : after.results) {
    const auto same =
        std::find_if(before.results.begin(), before.results.end(), [&](const auto& b) {
          return b.id() == r.id() && b.outcome == r.outcome && b.text == r.text;
        });
    if (same != before.results.end()) continue;
    if (!out || (out->outcome == Outcome::pass && r.outcome != Outcome::pass)) out = std::move(r);
  }
  return out;
}

std::optional<record::Reading> as_reading(const bench::Description& bench,
                                          const record::Record& so_far, const record::Key& key,
                                          const OhmStep& step, const record::Condition& condition,
                                          const bench::ShownOhms& shown) {
  record::Reading out;
  out.key = key, out.from = step.between.high, out.to = step.between.low;
  out.condition = condition;
  out.function = shown.function;
  out.overload = shown.overload;
  record::Numbers n;
  n.range_end = shown.range.si();
  if (shown.overload) {
    n.value = n.u = std::nan("");
    out.measured = {Unit::ohm, n};
    return out;
  }
  const auto* meter = bench.find("meter");
  if (!meter) return std::nullopt;
  n.value = shown.value.si();
  const auto accuracy =
      metrology::standard_uncertainty(meter->accuracy, shown.function, n.range_end, n.value);
  if (!accuracy) return std::nullopt;
  n.u = *accuracy;
  if (shown.function == "ohm-2w" && key.check != "bench-check") {
    n.u = std::hypot(n.u, std::sqrt(2.0) * bench.fixture.contact_u_ohm);
    for (const record::Event& event : so_far.events)
      if (const auto* r = std::get_if<record::Reading>(&event))
        if (r->key.check == "bench-check" && r->key.role == "shorted" && !r->overload)
          n.lead_null = r->ohm().si();
    n.value -= n.lead_null;
  }
  out.measured = {Unit::ohm, n};
  return out;
}

}  // namespace pinproof::inspection
