// How long a technician waits for the next probe: each step of searches on faulty packs, from a
// reading to the next question. A table, not a test.
#include <algorithm>
#include <chrono>
#include <cstdio>

#include "diagnosis/desk.h"

using namespace pinproof;
using namespace pinproof::diagnosis;

namespace {

double now() {
  return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
}

void search(const Desk& desk, std::size_t faults, std::mt19937_64& random,
            std::vector<double>& took) {
  std::vector<Guess> truth;
  for (std::size_t k = 0; k < faults; ++k) {
    const Instance& one = desk.instances[random() % desk.instances.size()];
    truth.push_back({one.suspect, one.size});
  }
  DrawnPack pack(desk.scene, truth, desk.noise_ohm, random());
  Search out(desk.scene, desk.suspects, desk.probes, desk.list, desk.search);
  while (const auto choice = out.next()) {
    const Observation reading = pack.read(desk.probes[choice->probe]);
    const double start = now();
    out.add(reading);
    took.push_back(now() - start);
  }
}

}  // namespace

int main() {
  const Desk desk("six-speed-20-pin", 0.04,
                  {.lever = true, .tie = true, .soak = false, .source = true});
  std::mt19937_64 random(9);
  std::printf(
      "from a reading to the next probe, %zu suspects, %zu probes\n"
      "  faults   steps   median     90 %%      most\n",
      desk.suspects.size(), desk.probes.size());
  for (const std::size_t faults : {1U, 2U}) {
    std::vector<double> took;
    for (int k = 0; k < 60; ++k) search(desk, faults, random, took);
    std::sort(took.begin(), took.end());
    std::printf("  %zu      %7zu  %5.1f ms  %5.1f ms  %6.1f ms\n", faults, took.size(),
                1e3 * took[took.size() / 2], 1e3 * took[took.size() * 9 / 10], 1e3 * took.back());
  }
  return 0;
}
