// What the technician sees and presses.
#pragma once

#include <memory>
#include <optional>
#include <string>

#include "bench/patience.h"

namespace pinproof::hand {

enum class Key { take, back, skip, skip_all, again, other };

class Console {
 public:
  virtual ~Console() = default;
  /// Stays on the screen.
  virtual void say(const std::string& text) = 0;
  /// The line that changes; the next say() or live() replaces it.
  virtual void live(const std::string& text) = 0;
  virtual void beep() = 0;
  /// Keys pressed until now do not answer what is asked next: two presses where one would do.
  virtual void forget_keys() = 0;
  /// The next key, waited for at most so long. Throws Error(aborted) when stopped.
  virtual std::optional<Key> key(Duration wait, const bench::Patience& patience) = 0;
  /// A line of text. Throws Error(aborted) when stopped.
  virtual std::string ask(const std::string& question, const bench::Patience& patience) = 0;
};

/// Keys from the terminal at standard input, words to standard error, so that a
/// report on standard output stays whole. Throws Error(Fault::usage) where
/// standard input is not a terminal. The terminal's settings come back at its end.
std::unique_ptr<Console> open_terminal();

}  // namespace pinproof::hand
