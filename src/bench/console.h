// What the technician sees and presses.
#pragma once

#include <memory>
#include <optional>
#include <string>

#include "bench/patience.h"
#include "bench/ports.h"

namespace pinproof::bench {

enum class KeyPress { take, back, skip, skip_all, again, other };

/// Where the two probes are wanted.
struct ProbePair {
  enum class Where { on_pins, together, apart, stay };
  Where where = Where::on_pins;
  std::string red, black;            ///< nodes; empty where apart
  std::string red_name, black_name;  ///< as a person calls them
  std::string face;                  ///< the connector drawn in text; may be empty
  Resistance expected;               ///< infinite: an open
};

/// What to make of what the meter shows.
enum class Grip {
  moving,         ///< not steady yet
  lift_first,     ///< the probes are still on the last pair
  open,           ///< where a number is expected: taken by key, both probes must be on
  open_expected,  ///< the same, as it should be
  unexpected,     ///< steady, far from what is expected: taken by key
  taken
};

struct ProbesHeld {
  ShownOhms shown;
  std::string text;  ///< "12.98 Ω" or "open"
  Grip grip = Grip::moving;
};

/// Something to be done by hand.
struct HandTask {
  std::string kind;  ///< all of one kind can be skipped at once
  std::string what;  ///< may begin with a line "CAUTION: ..."
};

/// What a person may press beside Enter, at the end of a line that waits.
inline constexpr const char* kKeys = "   b: back  s: skip";

class Console {
 public:
  virtual ~Console() = default;
  // What is asked and shown, for who draws it; as plain words otherwise.
  virtual void touch(const ProbePair& pair);
  virtual void held(const ProbesHeld& held);
  virtual void took(const ProbesHeld& held);
  virtual void task(const HandTask& task);
  /// Asked again and again until it is done.
  virtual void task_waits(const HandTask& task);

  /// Stays on the screen.
  virtual void say(const std::string& text) = 0;
  /// The line that changes; the next say() or live() replaces it.
  virtual void live(const std::string& text) = 0;
  virtual void beep() = 0;
  /// Keys pressed until now do not answer what is asked next: two presses where one would do.
  virtual void forget_keys() = 0;
  /// The next key, waited for at most so long. Throws Error(aborted) when stopped.
  virtual std::optional<KeyPress> key(Duration wait, const Patience& patience) = 0;
  /// A line of text. Throws Error(aborted) when stopped.
  virtual std::string ask(const std::string& question, const Patience& patience) = 0;
};

}  // namespace pinproof::bench
