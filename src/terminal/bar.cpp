#include "terminal/bar.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "quantity/characters.h"
#include "quantity/lines.h"

namespace pinproof::terminal {
namespace {

constexpr std::size_t kMost = 30;      // columns of a bar
constexpr std::size_t kRateFrom = 60;  // columns of a line that has room for a rate
constexpr double kSure_s = 1;          // before that a rate is a guess

std::size_t clipped(std::size_t done, std::size_t of) { return std::min(done, of); }

std::string rate_text(double rate) {
  return rate >= 10 ? std::to_string(std::llround(rate)) + " a second"
                    : std::to_string(std::llround(rate * 60)) + " a minute";
}

}  // namespace

std::string bar_of(std::size_t done, std::size_t of, std::size_t columns) {
  if (columns < 5 || of == 0) return "";
  const std::size_t inner = columns - 2;
  const std::size_t full = inner * clipped(done, of) / of;
  std::string out(full, '=');
  if (full < inner) out += '>';
  out.resize(inner, '-');
  return "[" + out + "]";
}

std::string share_text(std::size_t done, std::size_t of) {
  const std::string share = std::to_string(of == 0 ? 0 : 100 * clipped(done, of) / of);
  return std::string(3 - std::min<std::size_t>(3, share.size()), ' ') + share + " %";
}

std::string duration_text(double seconds) {
  if (!(seconds < 1e8)) return "long";
  const long long s = std::llround(std::ceil(std::max(seconds, 0.0)));
  if (s < 100) return std::to_string(s) + " s";
  const long long min = (s + 30) / 60;
  if (min < 100) return std::to_string(min) + " min";
  return std::to_string(min / 60) + " h " + std::to_string(min % 60) + " min";
}

Bar::Bar(const std::string& what, std::optional<std::size_t> total)
    : what_(harmless(what)), total_(total), drawn_on_(draws_on_terminal()) {}

void Bar::at(std::size_t done) {
  if (!drawn_on_ || !throttle_.due()) return;
  const TerminalSize size = terminal_size();
  block_.show({line(done, size.columns)}, size);
}

std::string Bar::line(std::size_t done, std::size_t columns) const {
  const std::chrono::duration<double> gone = std::chrono::steady_clock::now() - began_;
  const double rate = double(done) / std::max(gone.count(), 1e-3);
  const bool sure = gone.count() >= kSure_s && done > 0;
  std::string tail = total_ ? share_text(done, *total_) + "  " : "";
  tail += std::to_string(done) + (total_ ? " of " + std::to_string(*total_) : "");
  if (sure && columns >= kRateFrom) tail += ", " + rate_text(rate);
  if (sure && total_)
    tail += ", " + duration_text(double(*total_ - clipped(done, *total_)) / rate) + " left";
  const std::size_t room = columns - std::min(columns, pinproof::columns(tail) + 4);
  const std::string what(head(what_, std::max<std::size_t>(room / 2, 8)));
  const std::size_t used = pinproof::columns(what);
  const std::string bar =
      total_ ? bar_of(done, *total_, std::min(kMost, room - std::min(room, used))) : "";
  return what + "  " + bar + (bar.empty() ? "" : "  ") + tail;
}

}  // namespace pinproof::terminal
