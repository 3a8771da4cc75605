#include <sys/random.h>

#include <algorithm>
#include <array>

#include "quantity/error.h"
#include "screen/gate.h"

namespace pinproof::screen {

Wheel::Taken Wheel::take(const std::string& screen, bool take_over, bool busy, double now_s,
                         const std::string& token) {
  const std::lock_guard lock(mutex_);
  if (screen.empty()) return {{}, screen_};
  if (screen == screen_ && same_secret(token, token_)) return {token_, screen_};
  const bool there = !screen_.empty() && streams_.count(screen_) > 0;
  const bool free = screen_.empty() || (!there && now_s - away_since_s_ >= kAway_s);
  if (!free && (!take_over || (busy && there))) return {{}, screen_};
  screen_ = screen;
  token_ = random_token();
  away_since_s_ = now_s;  // if it does not watch, its time runs from now on
  return {token_, screen_};
}

bool Wheel::holds(const std::string& token) const {
  const std::lock_guard lock(mutex_);
  return !token_.empty() && same_secret(token, token_);
}

void Wheel::release(const std::string& token) {
  const std::lock_guard lock(mutex_);
  if (token_.empty() || !same_secret(token, token_)) return;
  screen_.clear();
  token_.clear();
}

void Wheel::seen(const std::string& screen, bool begins, double now_s) {
  const std::lock_guard lock(mutex_);
  int& streams = streams_[screen];
  streams = std::max(0, streams + (begins ? 1 : -1));
  if (streams > 0) return;
  streams_.erase(screen);
  if (screen == screen_) away_since_s_ = now_s;
}

std::string Wheel::driver() const {
  const std::lock_guard lock(mutex_);
  return screen_;
}

bool same_secret(std::string_view a, std::string_view b) {
  volatile unsigned char differs = a.size() == b.size() ? 0 : 1;
  for (std::size_t i = 0; i < a.size() && !b.empty(); ++i)
    differs = static_cast<unsigned char>(differs | (a[i] ^ b[i % b.size()]));
  return differs == 0;
}

std::string random_token() {
  std::array<unsigned char, 16> bytes{};
  if (::getrandom(bytes.data(), bytes.size(), 0) != static_cast<ssize_t>(bytes.size()))
    throw Error(Fault::usage, "the system gives no random numbers");
  constexpr std::string_view kDigits = "0123456789abcdef";
  std::string out;
  for (const unsigned char byte : bytes) out += {kDigits[byte >> 4], kDigits[byte & 15]};
  return out;
}

}  // namespace pinproof::screen
