#include "terminal/live_block.h"

#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <string_view>

#include "quantity/lines.h"

namespace pinproof::terminal {
namespace {

constexpr const char* kEraseLine = "\033[2K";

std::string up(std::size_t rows) {
  return rows == 0 ? "\r" : "\r\033[" + std::to_string(rows) + "A";
}

void put(const std::string& text) {
  std::fwrite(text.data(), 1, text.size(), stderr);
  std::fflush(stderr);
}

}  // namespace

TerminalSize terminal_size() {
  winsize size{};
  if (::ioctl(STDERR_FILENO, TIOCGWINSZ, &size) != 0 || size.ws_col == 0 || size.ws_row == 0)
    return {};
  return {size.ws_col, size.ws_row};
}

bool draws_on_terminal() {
  const auto set = [](const char* name) {
    const char* value = std::getenv(name);
    return std::string_view(value ? value : "");
  };
  return ::isatty(STDERR_FILENO) == 1 && set("NO_COLOR").empty() && set("TERM") != "dumb";
}

// A line that was as wide as the window takes several rows once it is narrower.
std::size_t LiveBlock::rows_on(const TerminalSize& size) const {
  std::size_t rows = 0;
  for (const std::size_t columns : drawn_)
    rows += std::max<std::size_t>(1, (columns + size.columns - 1) / size.columns);
  return rows;
}

void LiveBlock::show(const std::vector<std::string>& lines, const TerminalSize& size) {
  // The last column stays empty: what terminals do after a letter there differs.
  const std::size_t width = std::max<std::size_t>(size.columns, 2) - 1;
  const std::size_t count = std::min(lines.size(), std::max<std::size_t>(size.rows, 2) - 1);
  const std::size_t before = rows_on(size);
  std::string out = up(before > 0 ? before - 1 : 0);
  drawn_.clear();
  for (std::size_t k = 0; k < count; ++k) {
    const std::string_view line = head(lines[k], width);
    out.append(k > 0 ? "\r\n" : "").append(kEraseLine).append(line);
    drawn_.push_back(columns(line));
  }
  for (std::size_t k = count; k < before; ++k) out.append("\r\n").append(kEraseLine);
  if (before > count) out += up(before - std::max<std::size_t>(count, 1));
  put(out);
}

void LiveBlock::clear() {
  const std::size_t rows = rows_on(terminal_size());
  if (rows == 0) return;
  std::string out = up(rows - 1);
  for (std::size_t k = 0; k < rows; ++k) out.append(k > 0 ? "\r\n" : "").append(kEraseLine);
  put(out + up(rows - 1));
  drawn_.clear();
}

bool Throttle::due(bool now) {
  const auto at = std::chrono::steady_clock::now();
  if (!now && at - last_ < rest_) return false;
  last_ = at;
  return true;
}

}  // namespace pinproof::terminal
