// Packs drawn at random and diagnosed: what a bench's plan does in the end. Pure.
#pragma once

#include <cstddef>
#include <vector>

#include "diagnosis/coverage.h"
#include "diagnosis/search.h"

namespace pinproof::diagnosis {

struct Trials {
  std::size_t packs = 0;  ///< good ones, and as many with one fault
  std::size_t false_alarms = 0;
  std::size_t named = 0;      ///< of the faulty: the fault itself is the first explanation
  std::size_t unnoticed = 0;  ///< of the faulty
  std::size_t good_median = 0, faulty_median = 0;  ///< probings
};

/// Seeds 1 to `packs`. Faults are drawn evenly from the detected ones of the coverage.
Trials trials(const Scene& scene, const std::vector<Suspect>& suspects,
              const std::vector<Probe>& probes, const Coverage& coverage,
              const SearchOptions& options, int packs);

}  // namespace pinproof::diagnosis
