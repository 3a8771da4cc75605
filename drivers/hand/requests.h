// What a person is asked to do, and the keys with which to answer.
#pragma once

#include <map>
#include <memory>
#include <string>

#include "bench/console.h"
#include "bench/ports.h"

namespace pinproof::hand {

inline constexpr double kReaction_s = 0.25;  ///< nobody answers sooner

class Requests {
 public:
  /// `console` outlives it. An Enter within `reaction_s` of a request was meant for what was asked
  /// before: it does not answer.
  Requests(bench::Console& console, double reaction_s)
      : console_(console), reaction_s_(reaction_s) {}

  /// Returns when the technician has done it; throws bench::Detour for skip and back. All of one
  /// `kind` can be skipped at once.
  void confirm(const std::string& kind, const std::string& what, const bench::Patience& patience);
  /// Throws bench::Detour where the key means back or skip.
  void leave(bench::KeyPress key, const bench::Patience& patience);

 private:
  std::string reason(const bench::Patience& patience);

  bench::Console& console_;
  double reaction_s_;
  std::map<std::string, std::string> refused_;  // kinds of work that are all skipped, and why
};

/// Plugs, warms and cools when asked to on `console`, which outlives it: for a bench whose probes
/// are not held by hand.
std::unique_ptr<bench::Person> person(bench::Console& console);

}  // namespace pinproof::hand
