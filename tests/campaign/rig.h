// One whole inspection in this process: a simulated bench on real sockets, the SCPI drivers, a
// relay matrix or a technician with two probes, the runner and the judge.
#pragma once

#include <string>
#include <vector>

#include "inspection/judge/judge.h"
#include "profile/load.h"

namespace pinproof::campaign {

enum class Means { relays, hand };
std::string_view name_of(Means means);

struct Setting {
  const profile::Profile* profile = nullptr;
  Means means = Means::relays;
  bool full = true;                 ///< by relays only: probes held by hand drive nothing
  std::uint64_t seed = 1;           ///< which good pack, its instruments and their noise
  std::vector<std::string> faults;  ///< as the simulator takes them: "coil B: joint 1.1"
};

struct Ended {
  inspection::Judgement judgement;
  int exit_code = 0;
  double simulated_s = 0;
  std::string trouble;  ///< what the bench reported, where it broke the run off
};

profile::Profile load(const std::string& name);

/// Equal settings end equally: time stands still but for the simulator's own.
Ended inspect(const Setting& setting);

/// The first required check that did not pass, in words.
std::string first_trouble(const Ended& ended);

}  // namespace pinproof::campaign
