// Lines at the end of a terminal that are drawn again in their place, and are gone at the end.
#pragma once

#include <chrono>
#include <cstddef>
#include <string>
#include <vector>

namespace pinproof::terminal {

struct TerminalSize {
  std::size_t columns = 80, rows = 24;
};

/// Of the terminal behind stderr, now: a person may pull the window smaller.
TerminalSize terminal_size();

/// Whether anything may be drawn there: stderr is a terminal, TERM is not "dumb", and NO_COLOR is
/// not set (who sets it reads what comes out, or has it read aloud).
bool draws_on_terminal();

class LiveBlock {
 public:
  LiveBlock() = default;
  ~LiveBlock() { clear(); }
  LiveBlock(const LiveBlock&) = delete;
  LiveBlock& operator=(const LiveBlock&) = delete;

  /// In place of what it showed before. What does not fit is cut: no line wraps, none scrolls.
  /// Pre: the lines hold no control characters.
  void show(const std::vector<std::string>& lines, const TerminalSize& size);
  /// Nothing of it stays; what is written next begins where it stood.
  void clear();

 private:
  std::size_t rows_on(const TerminalSize& size) const;

  std::vector<std::size_t> drawn_;  // columns of each line
};

/// So that redrawing does not cost more than the work.
class Throttle {
 public:
  explicit Throttle(int at_most_a_second)
      : rest_(std::chrono::milliseconds(1000 / at_most_a_second + 1)) {}
  /// Long enough after the last one; or `now` it must be.
  bool due(bool now = false);

 private:
  std::chrono::steady_clock::duration rest_;
  std::chrono::steady_clock::time_point last_ = std::chrono::steady_clock::now();
};

}  // namespace pinproof::terminal
