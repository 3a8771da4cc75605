#include "record/record.h"

namespace pinproof::record {

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

std::vector<const Reading*> readings(const Record& record, const Key& key) {
  std::vector<const Reading*> out;
  for (const Event& event : record.events)
    if (const auto* reading = std::get_if<Reading>(&event); reading && reading->key == key)
      out.push_back(reading);
  return out;
}

const Reading* last_reading(const Record& record, const Key& key) {
  const auto all = readings(record, key);
  return all.empty() ? nullptr : all.back();
}

const Capture* last_capture(const Record& record, const Key& key) {
  const Capture* last = nullptr;
  for (const Event& event : record.events)
    if (const auto* capture = std::get_if<Capture>(&event); capture && capture->key == key)
      last = capture;
  return last;
}

}  // namespace pinproof::record
