#include "screen/feed.h"

#include <algorithm>
#include <charconv>
#include <random>
#include <utility>

namespace pinproof::screen {
namespace {

// Two starts of the program must not take up each other's places.
std::string fresh_name() {
  std::random_device source;
  std::string out;
  for (int i = 0; i < 12; ++i) out += "0123456789abcdef"[source() & 15U];
  return out;
}

// A break in the data would end the message. JSON knows breaks as space only.
std::string one_line(std::string data) {
  std::replace_if(
      data.begin(), data.end(), [](char c) { return c == '\n' || c == '\r'; }, ' ');
  return data;
}

void append(std::string& out, std::string_view name, std::string_view data) {
  out.append("event: ").append(name).append("\ndata: ").append(data).append("\n\n");
}

std::size_t bytes_of(std::string_view name, std::string_view data) {
  constexpr std::size_t kKeeping = 64;  // the strings themselves
  return name.size() + data.size() + kKeeping;
}

}  // namespace

Feed::Feed(std::size_t most_bytes) : most_bytes_(most_bytes), born_(fresh_name()) {
  epoch_ = born_ + ".0";
}

void Feed::begin(const std::vector<std::string>& slots) {
  {
    const std::lock_guard lock(mutex_);
    epoch_ = born_ + "." + std::to_string(++runs_);
    log_.clear();
    first_ = 0;
    bytes_ = 0;
    // Told as empty, for those who had seen them full.
    for (const std::string& slot : slots) slots_[slot] = {"null", ++versions_};
  }
  changed();
}

void Feed::add(std::string_view name, std::string data) {
  {
    const std::lock_guard lock(mutex_);
    bytes_ += bytes_of(name, data);
    log_.push_back({std::string(name), one_line(std::move(data))});
    while (bytes_ > most_bytes_ && log_.size() > 1) {
      bytes_ -= bytes_of(log_.front().name, log_.front().data);
      log_.pop_front();
      ++first_;
    }
  }
  changed();
}

void Feed::set(std::string_view slot, std::string data) {
  {
    const std::lock_guard lock(mutex_);
    slots_[std::string(slot)] = {one_line(std::move(data)), ++versions_};
  }
  changed();
}

Feed::ReaderPlace Feed::after(std::string_view id) {
  const std::size_t cut = id.rfind('-');
  if (cut == std::string_view::npos || cut == 0) return {};
  const std::string_view number = id.substr(cut + 1);
  std::uint64_t n = 0;
  const auto [end, error] = std::from_chars(number.data(), number.data() + number.size(), n);
  if (error != std::errc{} || end != number.data() + number.size() || n + 1 == 0) return {};
  return {std::string(id.substr(0, cut)), n + 1, {}};
}

// What is read goes on from the place, or starts over.
void Feed::line_up(ReaderPlace& place, std::string& out) const {
  const bool goes_on =
      place.epoch == epoch_ && place.next >= first_ && place.next <= first_ + log_.size();
  if (goes_on) return;
  place = {epoch_, first_, {}};
  append(out, "reset", "{}");
}

std::string Feed::take(ReaderPlace& place, std::size_t at_most) const {
  const std::lock_guard lock(mutex_);
  std::string out;
  line_up(place, out);
  for (bool first = true; place.next < first_ + log_.size(); first = false) {
    const LoggedLine& line = log_[static_cast<std::size_t>(place.next - first_)];
    if (!first && out.size() + line.data.size() > at_most) break;
    out.append("id: ").append(epoch_).append("-").append(std::to_string(place.next)).append("\n");
    append(out, line.name, line.data);
    ++place.next;
  }
  // After the log, since they may speak of it; always, since a log that grows must not hide them.
  for (const auto& [name, slot] : slots_) {
    std::uint64_t& seen = place.slots[name];
    if (seen == slot.version) continue;
    seen = slot.version;
    append(out, name, slot.data);
  }
  return out;
}

void Feed::on_change(std::function<void()> listener) {
  const std::lock_guard lock(mutex_);
  listener_ = std::move(listener);
}

void Feed::changed() {
  std::function<void()> listener;
  {
    const std::lock_guard lock(mutex_);
    listener = listener_;
  }
  if (listener) listener();
}

}  // namespace pinproof::screen
