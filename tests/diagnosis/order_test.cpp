// The order in which readings were written down changes no explanation and no probability. Fixed
// seeds.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <nlohmann/json.hpp>
#include <random>

#include "desk.h"
#include "diagnosis/observe.h"
#include "paths.h"
#include "quantity/file.h"

using namespace pinproof;
using namespace pinproof::diagnosis;

namespace {

using Named = std::map<std::vector<std::string>, double>;  // sorted texts of the faults

Named named(const Ranking& ranking) {
  Named out;
  for (const Explanation& one : ranking.explanations) {
    std::vector<std::string> faults;
    for (const Guess& guess : one.faults) faults.push_back(guess.suspect->text);
    std::sort(faults.begin(), faults.end());
    out[faults] += one.probability;
  }
  return out;
}

// All there is in one and not in the other counts with its whole probability.
double greatest_difference(const Named& x, const Named& y) {
  double most = 0;
  for (const auto& [faults, p] : x)
    most = std::max(most, std::abs(p - (y.contains(faults) ? y.at(faults) : 0)));
  for (const auto& [faults, p] : y)
    if (!x.contains(faults)) most = std::max(most, p);
  return most;
}

std::vector<std::string> best(const Ranking& ranking) {
  std::vector<std::string> faults;
  if (!ranking.explanations.empty())
    for (const Guess& guess : ranking.explanations.front().faults)
      faults.push_back(guess.suspect->text);
  std::sort(faults.begin(), faults.end());
  return faults;
}

void check_any_order(const Scene& scene, const std::vector<Suspect>& suspects,
                     std::vector<Observation> readings, const SharedErrors& shared,
                     std::uint64_t seed) {
  const Ranking first = rank(scene, suspects, readings, shared);
  // Some explanation there is, if only that it is none of these.
  CHECK((!first.explanations.empty() || first.none_of_these > 0.99));
  std::mt19937_64 random(seed);
  for (int k = 0; k < 6; ++k) {
    std::shuffle(readings.begin(), readings.end(), random);
    const Ranking other = rank(scene, suspects, readings, shared);
    CHECK(best(other) == best(first));
    CHECK(greatest_difference(named(first), named(other)) < 1e-6);
    CHECK(std::abs(other.none_of_these - first.none_of_these) < 1e-6);
    CHECK(std::abs(other.good - first.good) < 1e-6);
    REQUIRE(other.suspect.size() == first.suspect.size());
    double most = 0;
    for (std::size_t s = 0; s < first.suspect.size(); ++s)
      most = std::max(most, std::abs(other.suspect[s] - first.suspect[s]));
    CHECK(most < 1e-6);
  }
}

const Desk& desk() {
  static const Desk one("six-speed-20-pin", 0,
                        {.lever = true, .tie = false, .soak = false, .source = false}, 0.01);
  return one;
}

}  // namespace

TEST_CASE("readings of drawn packs in any order: the same explanations and probabilities") {
  const Suspect& turns = desk().suspect("shorted-turns", "B");
  const Suspect& open = desk().suspect("pin-open", "12");
  const Suspect& bridge = desk().pair("bridge", "9", "10");
  const std::vector<std::vector<Guess>> packs{{},
                                              {Guess{&turns, 0.2}},
                                              {Guess{&open, 1}},
                                              {Guess{&bridge, 0.05}},
                                              {Guess{&turns, 0.2}, Guess{&open, 1}}};
  std::uint64_t seed = 51;
  for (const auto& faults : packs) {
    INFO("pack of ", faults.size(), " faults");
    SearchOptions options = desk().search;
    options.thorough = true;
    options.shared.warmth_K = 2;
    const Search done = desk().run(faults, seed, options);
    CHECK(done.readings().size() > 5);
    check_any_order(desk().scene, desk().suspects, done.readings(), options.shared, seed++);
  }
}

TEST_CASE("the example's file of readings in any order") {
  const std::string path = pinproof::tests::source_dir() + "/examples/readings-pulled-pack.json";
  auto json = nlohmann::json::parse(read_file(path, 1 << 20));
  std::mt19937_64 random(52);
  const auto ranked = [&] {
    Desk mine("six-speed-20-pin", 0, {.lever = true, .tie = false, .soak = false, .source = false},
              0.05);
    const auto written = record::readings_from_json(json.dump(), "readings.json");
    const auto readings = observe(mine.scene, written, "readings.json");
    CHECK(readings.size() > 3);
    return named(rank(mine.scene, mine.suspects, readings, mine.search.shared));
  };
  const Named first = ranked();
  for (int k = 0; k < 3; ++k) {
    std::shuffle(json["readings"].begin(), json["readings"].end(), random);
    CHECK(greatest_difference(first, ranked()) < 1e-6);
  }
}
