#include "findings/verdict.h"

#include <algorithm>
#include <array>
#include <span>
#include <utility>

namespace pinproof::findings {
namespace {

template <class Value>
using Named = std::pair<Value, std::string_view>;

constexpr std::array kOutcomes{
    Named<Outcome>{Outcome::pass, "pass"}, Named<Outcome>{Outcome::fail, "fail"},
    Named<Outcome>{Outcome::undecided, "undecided"}, Named<Outcome>{Outcome::skipped, "skipped"},
    Named<Outcome>{Outcome::bench_fault, "bench-fault"}};
constexpr std::array kVerdicts{Named<Verdict>{Verdict::accept, "accept"},
                               Named<Verdict>{Verdict::reject, "reject"},
                               Named<Verdict>{Verdict::hold, "hold"}};
constexpr std::array kLevels{Named<Level>{Level::static_, "static"},
                             Named<Level>{Level::full, "full"}};
constexpr std::array kEndings{Named<Ending>{Ending::complete, "complete"},
                              Named<Ending>{Ending::stopped, "stopped"},
                              Named<Ending>{Ending::bench_unproven, "bench-unproven"},
                              Named<Ending>{Ending::bench_failed, "bench-failed"}};
constexpr std::array kSkipReasons{Named<SkipReason>{SkipReason::other, "other"},
                                  Named<SkipReason>{SkipReason::taken_back, "taken-back"},
                                  Named<SkipReason>{SkipReason::no_ties, "no-ties"},
                                  Named<SkipReason>{SkipReason::no_reference, "no-reference"}};

template <class Value, std::size_t n>
std::string_view name_in(const std::array<Named<Value>, n>& table, Value value) {
  const auto at = std::find_if(table.begin(), table.end(),
                               [&](const auto& one) { return one.first == value; });
  return at == table.end() ? std::string_view() : at->second;
}

template <class Value, std::size_t n>
std::optional<Value> value_in(const std::array<Named<Value>, n>& table, std::string_view name) {
  const auto at = std::find_if(table.begin(), table.end(),
                               [&](const auto& one) { return one.second == name; });
  if (at == table.end()) return std::nullopt;
  return at->first;
}

}  // namespace

std::string_view name_of(Outcome outcome) { return name_in(kOutcomes, outcome); }
std::string_view name_of(Verdict verdict) { return name_in(kVerdicts, verdict); }
std::string_view name_of(Level level) { return name_in(kLevels, level); }
std::string_view name_of(Ending ending) { return name_in(kEndings, ending); }
std::string_view name_of(SkipReason why) { return name_in(kSkipReasons, why); }

std::optional<Outcome> outcome_named(std::string_view name) { return value_in(kOutcomes, name); }
std::optional<Verdict> verdict_named(std::string_view name) { return value_in(kVerdicts, name); }
std::optional<Level> level_named(std::string_view name) { return value_in(kLevels, name); }
std::optional<Ending> ending_named(std::string_view name) { return value_in(kEndings, name); }
std::optional<SkipReason> skip_reason_named(std::string_view name) {
  return value_in(kSkipReasons, name);
}

}  // namespace pinproof::findings
