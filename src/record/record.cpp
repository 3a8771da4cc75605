#include "record/record.h"

#include <algorithm>
#include <cmath>

#include "quantity/error.h"
#include "quantity/text.h"

namespace pinproof::record {
namespace {

constexpr double kClockShare = 0.8;  // of a pulse: sooner no computer's clock ends it

template <typename Answer>
const Answer* last_answer(const Record& record, const Key& key) {
  const Answer* last = nullptr;
  for (const Event& event : record.events) {
    if (const auto* answer = std::get_if<Answer>(&event); answer && answer->key == key)
      last = answer;
    // Who goes back and then skips takes back what he had read.
    if (const auto* skipped = std::get_if<Skipped>(&event); skipped && skipped->key == key)
      last = nullptr;
  }
  return last;
}

}  // namespace

std::string text_of(const Condition& condition) {
  std::string out = condition.lever.empty() ? "" : "lever " + condition.lever;
  if (!out.empty()) out += ", ";
  out += condition.applied.empty() ? "at rest" : "air at ";
  for (std::size_t i = 0; i < condition.applied.size(); ++i)
    out += (i == 0 ? "" : ", ") + condition.applied[i];
  if (condition.plugged) out += ", plugged in";
  if (condition.hot) out += ", hot";
  return out;
}

const Numbers& Measured::in(Unit unit) const {
  if (unit != unit_)
    throw Error(Fault::usage, "a reading in " + std::string(file_name(unit_)) +
                                  " stands where one in " + std::string(file_name(unit)) +
                                  " was asked for");
  return numbers_;
}

std::vector<const Reading*> readings(const Record& record, const Key& key) {
  std::vector<const Reading*> out;
  for (const Event& event : record.events)
    if (const auto* reading = std::get_if<Reading>(&event); reading && reading->key == key)
      out.push_back(reading);
  return out;
}

const Reading* last_reading(const Record& record, const Key& key) {
  return last_answer<Reading>(record, key);
}

const PulseCapture* last_capture(const Record& record, const Key& key) {
  return last_answer<PulseCapture>(record, key);
}

double driven_s(const PulseCapture& capture) {
  const auto at = [&](double s) {
    const double k = (s - capture.start_s) / capture.interval_s;
    return static_cast<std::ptrdiff_t>(
        std::clamp(k, 0.0, static_cast<double>(capture.supply_V.size())));
  };
  const auto& v = capture.supply_V;
  const auto from = v.begin() + at(0.25 * capture.pulse_s), to = v.begin() + at(capture.pulse_s);
  if (!(capture.interval_s > 0) || from >= to) return capture.pulse_s;
  const double half = *std::max_element(from, to) / 2;
  const auto fallen = std::find_if(from, to, [&](double volt) { return volt < half; });
  // Much too soon is no matter of a clock: the supply gave way, and the rest must show it.
  if (fallen == to || fallen < v.begin() + at(kClockShare * capture.pulse_s))
    return capture.pulse_s;
  // The sample before: what was between the two is not known.
  return capture.start_s + static_cast<double>(fallen - v.begin() - 1) * capture.interval_s;
}

}  // namespace pinproof::record
