// How long it takes to explain a table: every single and every double fault of the example tables
// and of the profiles' own. A table, not a test.
#include <algorithm>
#include <chrono>
#include <cstdio>

#include "lever/explain.h"
#include "lever/tables.h"
#include "lever/taps.h"
#include "paths.h"
#include "profile/load.h"

using namespace pinproof;
using namespace pinproof::lever;

namespace {

double now() {
  return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
}

void measure(const std::string& name, const RangeCode& code, const profile::Profile* profile) {
  const Ground good(code, nothing_of(code), profile);
  const auto singles = single_faults(good);
  std::vector<double> took;
  std::size_t most = 0;
  const auto explain_set = [&](const std::vector<LineFault>& faults) {
    const Effect effect = effect_of(good, faults);
    Observed seen = nothing_of(code);
    for (std::size_t p = 0; p < code.positions.size(); ++p) seen.words[p] = effect.at(p);
    const double start = now();
    const Ground ground(code, seen, profile);
    const auto result = explain(ground, seen);
    took.push_back(now() - start);
    most = std::max(most, result.explanations.size());
  };
  for (const LineFault& one : singles) explain_set({one});
  for (std::size_t i = 0; i < singles.size(); ++i)
    for (std::size_t j = i + 1; j < singles.size(); ++j)
      if (compatible(singles[i], singles[j])) explain_set({singles[i], singles[j]});
  std::sort(took.begin(), took.end());
  std::printf(
      "%-22s %2zu contacts %3zu single faults %5zu tables: median %.3f ms, most %.3f ms, at "
      "most %zu wirings\n",
      name.c_str(), code.columns.size(), singles.size(), took.size(), 1e3 * took[took.size() / 2],
      1e3 * took.back(), most);
}

}  // namespace

int main() {
  std::printf("lever_speed: a table of at most two faults explained, on one core\n");
  for (const auto& example : example_tables())
    measure(example.name, code_from(example.words), nullptr);
  for (const char* name : {"six-speed-20-pin", "four-speed-13-pin"}) {
    const auto profile =
        profile::load_profile(pinproof::tests::source_dir() + "/profiles/" + name + ".json");
    measure(name, code_of(profile), &profile);
  }
  return 0;
}
