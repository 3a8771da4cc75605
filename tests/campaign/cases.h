// Case number i of a campaign: which pack with which faults is inspected on which bench. Each case
// stands by itself, so that one can be repeated alone.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "campaign/rig.h"
#include "inspection/sight/detection.h"

namespace pinproof::campaign {

enum class Stratum { good, one_fault, two_faults, bad_bench, bad_bench_and_fault };
inline constexpr Stratum kStrata[] = {Stratum::good, Stratum::one_fault, Stratum::two_faults,
                                      Stratum::bad_bench, Stratum::bad_bench_and_fault};
std::string_view name_of(Stratum stratum);

/// A fault of the pack as it was drawn.
struct PackFault {
  std::string kind;  ///< class with its target's: "coil joint"
  std::string part;  ///< the part's name or the pin's number
  bool by_chance = false;
};

struct Case {
  std::size_t number = 0;
  Stratum stratum = Stratum::good;
  Setting setting;
  std::vector<PackFault> pack;
  std::string bench;  ///< class of the bench's fault; empty: a good bench

  bool bad_pack() const { return !pack.empty(); }
  bool by_chance() const;
  std::string level() const;  ///< "full", "static", "by hand"
};

/// The line that tells a case: profile, level, seed and faults.
std::string text_of(const Case& one);

class Drawing {
 public:
  explicit Drawing(std::uint64_t seed);
  Case operator()(std::size_t number) const;

 private:
  struct Place {  // a profile on a kind of bench
    const profile::Profile* profile;
    Means means;
    bool full;
    double share;
    std::vector<inspection::Detection> sure;
    std::vector<std::vector<std::size_t>> by_class;  // of sure
  };
  class Hand;
  std::uint64_t seed_;
  std::vector<profile::Profile> profiles_;
  std::vector<Place> places_;
};

}  // namespace pinproof::campaign
