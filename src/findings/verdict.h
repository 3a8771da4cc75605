// What a check, a pack and a run came to, as values; each has a stable short name for files.
#pragma once

#include <optional>
#include <string_view>

namespace pinproof::findings {

enum class Outcome { pass, fail, undecided, skipped, bench_fault };
enum class Verdict { accept, reject, hold };
enum class Level { static_, full };

/// How a run ended.
enum class Ending {
  complete,        ///< every step of the plan was answered
  stopped,         ///< by a person or a signal
  bench_unproven,  ///< the bench did not pass its self-check
  bench_failed     ///< an instrument, a link or the fixture failed
};

/// Why nobody answered a step of the plan.
enum class SkipReason {
  other,        ///< in words only: a person's, or one of an old record
  taken_back,   ///< what was read of the step does not count: it is read again
  no_ties,      ///< the bench cannot tie terminals together
  no_reference  ///< the bench has no such resistor
};

/// Of two judgements of one pack the one that counts: reject before hold before accept.
constexpr Verdict worse(Verdict a, Verdict b) {
  if (a == Verdict::reject || b == Verdict::reject) return Verdict::reject;
  return a == Verdict::hold ? a : b;
}

std::string_view name_of(Outcome outcome);  ///< "pass", ..., "bench-fault"
std::string_view name_of(Verdict verdict);  ///< "accept", "reject", "hold"
std::string_view name_of(Level level);      ///< "static", "full"
std::string_view name_of(Ending ending);    ///< "complete", "stopped", "bench-unproven", ...
std::string_view name_of(SkipReason why);   ///< "other", "taken-back", "no-ties", ...

/// The other way; nullopt for a name that is none of these.
std::optional<Outcome> outcome_named(std::string_view name);
std::optional<Verdict> verdict_named(std::string_view name);
std::optional<Level> level_named(std::string_view name);
std::optional<Ending> ending_named(std::string_view name);
std::optional<SkipReason> skip_reason_named(std::string_view name);

}  // namespace pinproof::findings
