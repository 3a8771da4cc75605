#include "terminal/live_table.h"

#include <algorithm>

#include "inspection/checks/check.h"
#include "inspection/checks/evidence.h"
#include "quantity/lines.h"
#include "terminal/bar.h"

namespace pinproof::terminal {
namespace {

constexpr std::size_t kLeast = 20;    // columns that anything can be shown on
constexpr std::size_t kBarMost = 36;  // columns
constexpr std::size_t kHeading = 34;  // columns
constexpr std::size_t kCounts = 20;   // columns behind a heading

std::string right(std::size_t number, std::size_t width) {
  const std::string text = std::to_string(number);
  return std::string(width - std::min(width, text.size()), ' ') + text;
}

}  // namespace

LiveTable::LiveTable() {
  for (const inspection::CheckKind* kind : inspection::check_kinds())
    checks_.push_back({kind->name, kind->heading});
}

LiveTable::Check* LiveTable::find(const std::string& name) {
  const auto at = std::find_if(checks_.begin(), checks_.end(),
                               [&](const Check& check) { return check.name == name; });
  return at == checks_.end() ? nullptr : &*at;
}

void LiveTable::count(const record::Key& key, std::size_t Check::*what) {
  Check* check = find(key.check);
  if (check) ++(check->*what), check->last = events_;
}

std::string LiveTable::named(const record::Key& key) const {
  std::string out = key.check;
  for (const Check& check : checks_)
    if (check.name == key.check) out = check.heading;
  for (const std::string& more : {key.subject, key.role})
    if (!more.empty()) out += " " + more;
  return harmless(out);
}

void LiveTable::add(const record::Event& event) {
  ++events_;
  if (const auto* reading = std::get_if<record::Reading>(&event)) {
    count(reading->key, &Check::read);
    newest_name_ = named(reading->key), newest_value_ = harmless(inspection::text_of(*reading));
  } else if (const auto* capture = std::get_if<record::PulseCapture>(&event)) {
    count(capture->key, &Check::read);
    newest_name_ = named(capture->key), newest_value_ = "captured";
  } else if (const auto* skipped = std::get_if<record::Skipped>(&event)) {
    Check* check = find(skipped->key.check);
    if (skipped->why != findings::SkipReason::taken_back)
      count(skipped->key, &Check::skipped);
    else if (check && check->read > 0)
      --check->read;
  } else if (const auto* trouble = std::get_if<record::BenchTrouble>(&event)) {
    trouble_ = harmless(trouble->what);
  } else if (const auto* finished = std::get_if<record::Finished>(&event)) {
    if (finished->complete()) done_ = of_;
    left_s_.reset(), now_.clear();
  }
}

void LiveTable::look_ahead(const inspection::Ahead& ahead) {
  done_ = ahead.done, of_ = ahead.of, left_s_ = ahead.left_s;
  if (ahead.step) now_ = ahead.step->key.check;
}

std::string LiveTable::bar_line(std::size_t width) const {
  if (of_ == 0) return std::to_string(events_) + " answers so far";
  std::string tail =
      share_text(done_, of_) + "  " + std::to_string(done_) + " of " + std::to_string(of_);
  if (left_s_) tail += ", " + duration_text(*left_s_) + " left";
  const std::size_t room = width - std::min(width, columns(tail) + 2);
  const std::string bar = bar_of(done_, of_, std::min(room, kBarMost));
  return bar + (bar.empty() ? "" : "  ") + tail;
}

std::string LiveTable::check_line(const Check& check, std::size_t width) const {
  const std::size_t heading = std::min(kHeading, width - std::min(width, kCounts + 2));
  std::string out = (check.name == now_ ? "> " : "  ") +
                    fitted(std::string(check.heading), heading) + right(check.read, 4) + " read";
  if (check.skipped > 0) out += right(check.skipped, 4) + " left out";
  return out;
}

// Where there are too many for the window, those that told something last.
std::vector<const LiveTable::Check*> LiveTable::shown(std::size_t rows) const {
  std::vector<const Check*> out;
  for (const Check& check : checks_)
    if (check.last > 0) out.push_back(&check);
  while (out.size() > rows)
    out.erase(std::min_element(out.begin(), out.end(),
                               [](const Check* a, const Check* b) { return a->last < b->last; }));
  return out;
}

// The value is what matters: the name gives way.
std::string LiveTable::newest_line(std::size_t width) const {
  const std::size_t value = columns(newest_value_) + 2;
  std::string name = newest_name_;
  if (columns(name) + value > width) name = fitted(name, width - std::min(width, value + 1));
  return name + ": " + newest_value_;
}

std::vector<std::string> LiveTable::lines(const TerminalSize& size) const {
  const std::size_t width = std::max(size.columns, kLeast) - 1;
  std::vector<std::string> out{bar_line(width)};
  // The prompt before it and the cursor behind it stay in sight.
  const std::size_t others = 4 + (newest_name_.empty() ? 0 : 1) + (trouble_.empty() ? 0 : 1);
  for (const Check* check : shown(size.rows - std::min(size.rows, others)))
    out.push_back(check_line(*check, width));
  if (!newest_name_.empty()) out.push_back(newest_line(width));
  if (!trouble_.empty()) out.push_back(fitted("Bench trouble: " + trouble_, width));
  return out;
}

}  // namespace pinproof::terminal
