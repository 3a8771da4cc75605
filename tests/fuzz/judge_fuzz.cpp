// A static record of a good pack, answered from the plan, on which the input works: each six bytes
// change, take away, repeat or move one event. The verdict must not be better than what is left.
#include <algorithm>
#include <cmath>
#include <set>

#include "inspection/checks/plan.h"
#include "judging.h"
#include "packs.h"
#include "targets.h"

namespace pinproof::fuzz {
namespace {

using inspection::Verdict;
using record::Reading;

constexpr std::size_t kMostEdits = 12;

Reading answered(const profile::Profile& profile, const inspection::Step& step) {
  Reading out;
  out.key = step.key;
  out.condition = inspection::condition_of(profile, step.state);
  out.at_s = 1;
  if (const auto* ohm = std::get_if<inspection::OhmStep>(&step.action)) {
    out.from = ohm->between.high, out.to = ohm->between.low;
    out.overload = std::isinf(ohm->expected.si());
    // What is expected of a contact is the most that it may have.
    const double share = step.key.check == "bench-check" ? 1 : 0.99;
    const double expected = ohm->expected.si();
    out.measured = {Unit::ohm,
                    {.value = out.overload ? NAN : share * expected,
                     .u = out.overload ? NAN : 1e-4 * expected + 1e-4,
                     .range_end = 1.2e8}};
    out.function = "ohm-4w";
  } else {
    out.measured = {Unit::celsius, {.value = 23, .u = 0.2}}, out.function = "temperature";
  }
  return out;
}

record::Record good_record(const profile::Profile& profile) {
  record::Record out;
  out.header.profile_name = profile.name, out.header.profile_hash = profile.hash;
  out.header.reference = Estimate{100, 0.01}, out.header.high_reference = Estimate{1e7, 1e3};
  inspection::Capabilities can;
  can.tie = can.lever = can.celsius = can.reference = can.high_reference = true;
  for (const auto& step : inspection::make_plan(profile, can, false).steps)
    out.events.emplace_back(answered(profile, step));
  for (const auto& step : inspection::make_follow_up(profile, can, out).steps)
    out.events.emplace_back(answered(profile, step));
  out.events.emplace_back(record::Finished{findings::Ending::complete, ""});
  return out;
}

// From far below to far above what it was, and what no meter shows.
double changed(double value, unsigned how) {
  if (how == 0) return NAN;
  if (how == 1) return -value;
  if (how == 2) return 1e300;
  if (how == 3) return 0;
  return value * std::pow(10.0, (static_cast<double>(how) - 128) / 40);
}

void change(record::Event& event, unsigned what, unsigned how) {
  auto* reading = std::get_if<Reading>(&event);
  if (!reading) return;
  record::Numbers& n = reading->measured.numbers();
  if (what == 0) n.value = changed(n.value, how);
  if (what == 1) n.u = std::abs(changed(n.u, how));  // files cannot have less than 0
  if (what == 2) reading->overload = !reading->overload, n.range_end = how * 1e6;
  if (what == 3) reading->overload = false, n.value = how, n.u = 0.01;
  if (what == 4) reading->key.role += static_cast<char>(how);
  if (what == 5) reading->condition.hot = !reading->condition.hot;
  if (what == 6) std::swap(reading->from, reading->to);
  if (what == 7) reading->measured = {static_cast<Unit>(how % 12), n};
}

void edit(std::vector<record::Event>& events, std::string_view& input) {
  const unsigned low = take_byte(input), high = take_byte(input);
  const std::size_t at = (low + 256 * high) % events.size();
  const unsigned what = take_byte(input) % 12;
  const unsigned how = take_byte(input);
  const auto place = events.begin() + static_cast<std::ptrdiff_t>(at);
  if (what < 8) return change(*place, what, how);
  const record::Event event = *place;
  const auto* reading = std::get_if<Reading>(&event);
  if (what == 8) events.erase(place);
  if (what == 9) events.push_back(event);
  if (what == 10 && reading) *place = record::Skipped{reading->key, "no time"};
  if (what == 11 && reading) *place = record::BenchTrouble{reading->key, "no answer"};
}

std::set<std::string> required(const inspection::Judgement& judgement) {
  std::set<std::string> out;
  for (const auto& result : judgement.results)
    // A bench without relays skips these, and nothing is required of it.
    if (result.required && result.title.find("relays") == std::string::npos)
      out.insert(result.check + ", " + result.title);
  return out;
}

// Good as planned, and how much is required of it.
struct Base {
  explicit Base(const profile::Profile& of) : profile(of), record(good_record(of)) {
    const auto judgement = judged(profile, record);
    std::string why = judgement.why;
    for (const auto& r : judgement.results)
      if (r.required && r.outcome != inspection::Outcome::pass)
        why += "\n" + r.title + ": " + r.text;
    expect(judgement.verdict == Verdict::accept, "the good pack is accepted", why);
    least = required(judgement);
  }
  const profile::Profile& profile;
  record::Record record;
  std::set<std::string> least;
};

}  // namespace

void try_judge(std::string_view input) {
  static const Base kFour(four_speed()), kSix(six_speed());
  const Base& base = take_byte(input) % 2 == 0 ? kFour : kSix;
  record::Record record = base.record;
  for (std::size_t k = 0; k < kMostEdits && input.size() >= 4 && !record.events.empty(); ++k)
    edit(record.events, input);
  accepted([&] {
    const auto judgement = judged(base.profile, record);
    if (judgement.verdict != Verdict::accept) return;
    const auto still = required(judgement);
    for (const std::string& one : base.least)
      expect(still.contains(one), "no required check has got lost", one);
  });
}

}  // namespace pinproof::fuzz
