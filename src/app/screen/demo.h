// A simulated bench with a box of ten packs, for a first look at everything.
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "app/screen/console.h"
#include "profile/profile.h"
#include "screen/desk.h"
#include "simulated/server.h"

namespace pinproof::app {

inline constexpr const char* kDemoProfile = "six-speed-20-pin";
inline constexpr const char* kDemoRelays = "bench with relays (simulated)";
inline constexpr const char* kDemoHand = "meter and two probes (simulated)";

std::vector<screen::PackOffer> demo_packs();

/// One pack of the box on a simulated bench, for one run.
class DemoBench {
 public:
  /// A serial that is not in the box is a good pack of its own. `by_hand`: a meter, two probes and
  /// a pair of simulated hands. Throws Error.
  DemoBench(const profile::Profile& profile, const std::string& serial, bool by_hand,
            const std::string& dialects);
  ~DemoBench();
  DemoBench(const DemoBench&) = delete;
  DemoBench& operator=(const DemoBench&) = delete;

  const std::string& file() const { return file_; }
  /// Null where nobody's hands are needed.
  Helper* helper() { return helper_.get(); }

 private:
  std::unique_ptr<simulated::SimulatedBench> bench_;
  std::string file_;  // in a folder of its own
  std::unique_ptr<Helper> helper_;
};

}  // namespace pinproof::app
