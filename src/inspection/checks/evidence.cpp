#include "inspection/checks/evidence.h"

#include <algorithm>
#include <cmath>

#include "metrology/decision.h"
#include "quantity/text.h"

namespace pinproof::inspection {
namespace {

constexpr Resistance kProof{1e6};  // below this a reading proves its path
constexpr double kSoak_K =
    0.5;  // standard uncertainty of "the pack is as warm as the air beside it"

// A limit as the profile says it, without digits it does not have.
std::string shown_limit(double value, Unit unit) {
  std::string text = format_si(value, unit, 6);
  auto end = text.find_first_not_of("+-.0123456789");
  if (end == std::string::npos) end = text.size();
  if (text.find('.') >= end) return text;
  std::size_t keep = end;
  while (text[keep - 1] == '0') --keep;
  if (text[keep - 1] == '.') --keep;
  return text.erase(keep, end - keep);
}

std::string limit_text(const Interval& limit, Unit unit) {
  const bool low = std::isfinite(limit.low);
  const bool high = std::isfinite(limit.high);
  if (low && high)
    return shown_limit(limit.low, unit) + " to " + shown_limit(limit.high, unit) + " allowed";
  if (high) return "at most " + shown_limit(limit.high, unit) + " allowed";
  return "at least " + shown_limit(limit.low, unit) + " wanted";
}

Outcome outcome_of(metrology::Conformity conformity) {
  switch (conformity) {
    case metrology::Conformity::inside:
      return Outcome::pass;
    case metrology::Conformity::outside:
      return Outcome::fail;
    case metrology::Conformity::undecided:
      break;
  }
  return Outcome::undecided;
}

}  // namespace

Evidence::Evidence(const profile::Profile& profile, const record::Record& record)
    : profile_(profile), record_(record) {
  std::set<record::Key> withdrawn;  // by a skip that comes later
  for (auto event = record.events.rbegin(); event != record.events.rend(); ++event) {
    if (const auto* skip = std::get_if<record::Skipped>(&*event)) withdrawn.insert(skip->key);
    const auto* reading = std::get_if<record::Reading>(&*event);
    if (!reading || reading->measured.unit() != Unit::ohm || reading->overload ||
        !(reading->ohm() < kProof) || withdrawn.contains(reading->key))
      continue;
    // Both leads on one terminal meet before the pack.
    if (reading->from == reading->to) continue;
    // With several terminals tied together a reading proves one of them, and nobody knows which.
    if (reading->from.size() == 1) proven_.insert(reading->from.front());
    if (reading->to.size() == 1) proven_.insert(reading->to.front());
  }
}

bool Evidence::skipped(const record::Key& key) const {
  // What was taken back and then read again is not skipped.
  for (auto event = record_.events.rbegin(); event != record_.events.rend(); ++event) {
    if (const auto* skip = std::get_if<record::Skipped>(&*event); skip && skip->key == key)
      return true;
    const auto* reading = std::get_if<record::Reading>(&*event);
    const auto* capture = std::get_if<record::PulseCapture>(&*event);
    if ((reading && reading->key == key) || (capture && capture->key == key)) return false;
  }
  return false;
}

void Evidence::tell_missing(const record::Key& key, Result& result) const {
  result.outcome = Outcome::skipped;
  for (auto event = record_.events.rbegin(); event != record_.events.rend(); ++event) {
    const auto* reading = std::get_if<record::Reading>(&*event);
    const auto* capture = std::get_if<record::PulseCapture>(&*event);
    if ((reading && reading->key == key) || (capture && capture->key == key)) {
      result.text = kNotMeasured;
      return;  // there is an answer: whoever judges it says what it is
    }
    if (const auto* skipped = std::get_if<record::Skipped>(&*event);
        skipped && skipped->key == key) {
      result.text = skipped->reason;
      result.skipped = skipped->why;
      return;
    }
    if (const auto* trouble = std::get_if<record::BenchTrouble>(&*event);
        trouble && trouble->key == key) {
      result.outcome = Outcome::bench_fault;
      result.text = trouble->what;
      return;
    }
  }
  result.text = kNotMeasured;
  result.unread = true;
}

std::optional<Estimate> Evidence::celsius() const {
  const auto* before = reading({"temperature", "bench", "before"});
  const auto* after = reading({"temperature", "bench", "after"});
  const auto usable = [](const record::Reading& r) {
    return !r.overload && r.estimate(Unit::celsius).usable();
  };
  if (!before || !usable(*before) || (after && !usable(*after))) return std::nullopt;
  const Estimate first = before->estimate(Unit::celsius);
  const Estimate last = after ? after->estimate(Unit::celsius) : first;
  double low = std::min(first.value, last.value), high = std::max(first.value, last.value);
  // What was read before a run was cut off was read at another temperature.
  const bool resumed = std::any_of(
      record_.events.begin(), record_.events.end(),
      [](const record::Event& event) { return std::holds_alternative<record::Resumed>(event); });
  if (resumed)
    for (const auto* earlier : record::readings(record_, {"temperature", "bench", "before"}))
      if (const double value = earlier->estimate(Unit::celsius).value; std::isfinite(value))
        low = std::min(low, value), high = std::max(high, value);
  // The drift over the run is a rectangle as wide as the difference.
  const double drift = (high - low) / std::sqrt(12.0);
  const double u = std::max(first.u, last.u);
  return Estimate{(low + high) / 2, std::hypot(u, drift, kSoak_K)};
}

std::vector<std::string> Evidence::unproven(const std::vector<std::string>& terminals) const {
  std::vector<std::string> out;
  for (const std::string& terminal : terminals)
    if (!proven(terminal))
      out.push_back(terminal == profile::kCase ? std::string("the case") : "pin " + terminal);
  return out;
}

void judge_number(const Evidence& evidence, const Estimate& value, Unit unit, const Interval& limit,
                  Result& result) {
  const double r = evidence.profile().guard_factor;
  result.outcome = outcome_of(metrology::decide(value, limit, r));
  result.value = value;
  result.unit = unit;
  result.limit = limit;
  result.guard_band = r * 2 * value.u;
  result.text = format_estimate(value, unit) + ", " + limit_text(limit, unit);
  if (result.outcome == Outcome::undecided)
    result.text +=
        value.usable() ? "; too near to a limit for this bench to decide" : "; not a usable number";
}

void judge_closed(const Evidence& evidence, const record::Reading& reading, const Interval& limit,
                  Result& result) {
  if (result.pins.empty()) {
    result.pins = reading.from;
    result.pins.insert(result.pins.end(), reading.to.begin(), reading.to.end());
  }
  if (!reading.overload) {
    judge_number(evidence, reading.estimate(Unit::ohm), Unit::ohm, limit, result);
    return refuse_negative(reading.estimate(Unit::ohm), result);
  }
  const double range_end = reading.measured.in(Unit::ohm).range_end;
  result.outcome = range_end > limit.high ? Outcome::fail : Outcome::undecided;
  result.unit = Unit::ohm;
  result.limit = limit;
  result.text = text_of(reading) + ", " + limit_text(limit, Unit::ohm);
}

void refuse_negative(const Estimate& ohm, Result& result) {
  constexpr double kContact_ohm = 0.05;
  if (result.outcome != Outcome::pass || ohm.value >= -(kContact_ohm + 3 * ohm.u)) return;
  result.outcome = Outcome::undecided;
  result.text += "; less than no resistance: leads, lead null or meter";
}

void judge_open(const Evidence& evidence, const record::Reading& reading, double least_ohm,
                Result& result) {
  std::vector<std::string> terminals = reading.from;
  terminals.insert(terminals.end(), reading.to.begin(), reading.to.end());
  if (result.pins.empty()) result.pins = terminals;
  const Interval limit{least_ohm, INFINITY};
  if (reading.overload) {
    result.unit = Unit::ohm;
    result.limit = limit;
    result.text = text_of(reading) + ", " + limit_text(limit, Unit::ohm);
    result.outcome =
        reading.measured.in(Unit::ohm).range_end > least_ohm ? Outcome::pass : Outcome::undecided;
  } else {
    judge_number(evidence, reading.estimate(Unit::ohm), Unit::ohm, limit, result);
  }
  const auto unproven = evidence.unproven(terminals);
  if (result.outcome == Outcome::pass && !unproven.empty()) {
    result.outcome = Outcome::undecided;
    result.text += "; but nothing was ever read through " + list_of(unproven) +
                   ", so a lead that is off would look the same";
  }
}

Result missing(const Evidence& evidence, const record::Key& key, std::string title) {
  Result result;
  result.check = key.check;
  result.subject = key.subject;
  result.title = std::move(title);
  result.aspect = key.role;
  evidence.tell_missing(key, result);
  return result;
}

std::string list_of(const std::vector<std::string>& words) {
  std::string out;
  for (std::size_t i = 0; i < words.size(); ++i) {
    if (i > 0) out += i + 1 == words.size() ? " and " : ", ";
    out += words[i];
  }
  return out;
}

std::string text_of(const record::Reading& reading) {
  const Unit unit = reading.measured.unit();
  if (reading.overload)
    return "open (above " + format_si(reading.measured.numbers().range_end, unit, 3) + ")";
  return format_estimate(reading.estimate(unit), unit);
}

}  // namespace pinproof::inspection
