// Oscilloscopes as digitisers, and what they share with the others.
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "bench/description.h"
#include "bench/ports.h"
#include "scpi/session.h"

namespace pinproof::scpi {

inline constexpr double kTriggerLevel_V = 0.5;

std::unique_ptr<bench::Digitiser> make_scope(Session session, const bench::Fixture& fixture);

/// Reads the sample interval back and throws Error(bench) when it is far from
/// what was asked for. Returns what the instrument says.
Duration expect_interval(Session& session, std::string_view query, Duration wanted,
                         const bench::Patience& patience);
/// Throws Error(bad_reply) for another number of samples and for what is not a number.
void expect_samples(Session& session, const std::string& channel,
                    const std::vector<double>& samples, std::size_t points);

}  // namespace pinproof::scpi
