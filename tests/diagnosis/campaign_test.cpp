// The figures that the diagnosis is held to, on packs drawn at random: every part off by 4 % and
// every reading by 50 milliohm (standard deviations). Source of the metrics: IEEE Std 1522,
// MIL-STD-2165 (from memory). The packs are invented; the forward model is checked against
// ngspice in tests/network.
#include <doctest/doctest.h>

#include <algorithm>
#include <cstdio>
#include <functional>

#include "campaign/sequential.h"
#include "desk.h"

using namespace pinproof;
using namespace pinproof::diagnosis;

namespace {

// Meter, relays that can tie leads; a source for shares and drops; a heat soak.
const Desk& bench() {
  static const Desk desk("six-speed-20-pin", 0.04,
                         {.lever = true, .tie = true, .soak = true, .source = true});
  return desk;
}

// The go/no-go list of what a meter alone sees; faults under load are seen by the driven captures.
std::vector<std::size_t> meter_list(const Desk& desk) {
  std::vector<Probe> meter;
  std::vector<std::size_t> index;
  for (std::size_t p = 0; p < desk.probes.size(); ++p)
    if (desk.probes[p].kind == ProbeKind::ohm) meter.push_back(desk.probes[p]), index.push_back(p);
  std::vector<ProbeReadings> faulty;
  for (const Instance& one : desk.instances)
    faulty.push_back(
        readings_of(desk.scene, meter, {Guess{one.suspect, one.size}}, desk.noise_ohm));
  auto out = shortest_list(desk.scene, meter, readings_of(desk.scene, meter, {}, desk.noise_ohm),
                           desk.instances, faulty);
  for (std::size_t& p : out) p = index[p];
  return out;
}

// What a meter sees; equal-part swaps and what shows under load only are left out.
std::vector<Instance> seen_by_meter(const Desk& desk) {
  std::vector<Instance> out;
  for (std::size_t k = 0; k < desk.instances.size(); ++k)
    for (std::size_t p = 0; p < desk.probes.size(); ++p)
      if (desk.probes[p].kind == ProbeKind::ohm &&
          apart_squared(desk.good, desk.faulty[k], p) >= kApart * kApart) {
        out.push_back(desk.instances[k]);
        break;
      }
  return out;
}

struct Tally {
  std::vector<std::size_t> probings;
  std::size_t whole = 0, one_of = 0, unnoticed = 0;
  void add(Search done, std::size_t nodes, const std::vector<Guess>& truth) {
    probings.push_back(done.readings().size());
    if (done.normal()) {
      ++unnoticed;
      return;
    }
    const auto& found = done.ranking().explanations;
    if (found.empty()) return;
    const auto& best = found.front().faults;
    whole += wiring_of(nodes, best) == wiring_of(nodes, truth);
    one_of += !best.empty() && std::all_of(best.begin(), best.end(), [&](const Guess& g) {
      return std::any_of(truth.begin(), truth.end(),
                         [&](const Guess& t) { return t.suspect == g.suspect; });
    });
  }
  std::size_t median() {
    std::sort(probings.begin(), probings.end());
    return probings[probings.size() / 2];
  }
};

std::vector<Guess> drawn(const std::vector<Instance>& from, std::size_t count,
                         std::mt19937_64& random) {
  std::vector<Guess> out;
  while (out.size() < count) {
    const Instance& one = from[random() % from.size()];
    if (std::none_of(out.begin(), out.end(),
                     [&](const Guess& g) { return g.suspect == one.suspect; }))
      out.push_back({one.suspect, one.size});
  }
  return out;
}

}  // namespace

TEST_CASE("single faults: detection and isolation by the formulas") {
  const Desk& desk = bench();
  const auto c = coverage_of({&desk.scene, &desk.suspects, &desk.probes, desk.noise_ohm});
  std::size_t swaps = 0;
  for (const Group& group : c.groups) swaps += is_equal_part_swap(desk.model, *group.fault.suspect);
  const double without = double(c.detected()) / double(c.faults() - swaps);
  std::printf(
      "single faults, %zu of them, %zu probes: detected %.4f, %.4f without %zu swaps of "
      "equal parts; isolated to 1 %.4f, to 2 %.4f, to 3 %.4f\n",
      c.faults(), desk.probes.size(), c.detection_rate(false), without, swaps,
      c.isolation_rate(1, false), c.isolation_rate(2, false), c.isolation_rate(3, false));
  CHECK(without >= 0.995);
  CHECK(c.isolation_rate(1, false) >= 0.98);
  CHECK(c.isolation_rate(2, false) == 1.0);
}

TEST_CASE("double faults: isolation by the formula, on a sample") {
  // Of the 300 none may go undetected: a share of 1 % shows with 95 %. And 5 % may have a rival:
  // 300 pass with 99 % at a share of 2.5 %, with 1 % at 8.4 %. At the 4 % that it is, no sequential
  // test of these risks ends sooner.
  constexpr int kDoubles = 300;
  const Desk& desk = bench();
  std::vector<Probe> untied;
  for (const Probe& probe : desk.probes)
    if (desk.scene.situations()[probe.situation].tied.empty()) untied.push_back(probe);
  const ProbeReadings good = readings_of(desk.scene, untied, {}, desk.noise_ohm);
  std::vector<Instance> seen;
  for (std::size_t k = 0; k < desk.instances.size(); ++k)
    if (separation(desk.good, desk.faulty[k]) >= kApart) seen.push_back(desk.instances[k]);
  std::mt19937_64 random(11);
  int alone = 0, fewer = 0, detected = 0;
  for (int k = 0; k < kDoubles; ++k) {
    const auto truth = drawn(seen, 2, random);
    const ProbeReadings there = readings_of(desk.scene, untied, truth, desk.noise_ohm);
    detected += separation(good, there) >= kApart;
    // Without noise: the probes that deviate most, and the list.
    std::vector<std::size_t> order(untied.size());
    for (std::size_t p = 0; p < order.size(); ++p) order[p] = p;
    std::stable_sort(order.begin(), order.end(), [&](auto x, auto y) {
      return apart_squared(there, good, x) > apart_squared(there, good, y);
    });
    std::vector<Observation> readings;
    for (std::size_t p = 0; p < 60; ++p) {
      const Probe& probe = untied[order[p]];
      const auto pack = desk.scene.altered(probe.situation, truth);
      readings.push_back({probe, desk.scene.expected(probe, pack.resistances).ohm,
                          probe.kind == ProbeKind::fraction ? 0.01 : desk.noise_ohm, INFINITY});
    }
    const Ranking ranking = rank(desk.scene, desk.suspects, readings, {});
    bool rival = false, less = false;
    for (const Explanation& one : ranking.explanations) {
      const std::size_t nodes = desk.model.nodes();
      if (one.faults.size() > 2 || wiring_of(nodes, one.faults) == wiring_of(nodes, truth))
        continue;
      if (separation(there, readings_of(desk.scene, untied, one.faults, desk.noise_ohm)) >= kApart)
        continue;
      (one.faults.size() < 2 ? less : rival) = true;
    }
    fewer += less;
    alone += !less && !rival;
  }
  const double isolated = double(alone) / double(kDoubles - fewer);
  std::printf(
      "double faults, %d drawn (seed 11): detected %d; %d look like a single fault (%.1f %%); "
      "of the others isolated to 1 %.4f\n",
      kDoubles, detected, fewer, 100.0 * fewer / kDoubles, isolated);
  CHECK(detected == kDoubles);
  CHECK(isolated >= 0.95);
  CHECK(fewer <= kDoubles / 5);
}

TEST_CASE("probings and false alarms") {
  Desk desk("six-speed-20-pin", 0.04, {.lever = true, .tie = true, .soak = false, .source = true});
  desk.list = meter_list(desk);
  const auto seen = seen_by_meter(desk);
  // None of so many good packs may raise an alarm: a share of 0.1 % shows with 95 %. None of 180
  // faults may go unnoticed: 1.7 % shows with 95 %. So all are run, and the shares of names are
  // counted on them.
  constexpr int kHealthy = 3000, kSingles = 120, kDoubles = 60;
  Tally healthy, singles, doubles;
  int alarms = 0;
  for (int k = 0; k < kHealthy; ++k) {
    Search done = desk.run({}, 1000 + std::uint64_t(k), desk.search);
    healthy.probings.push_back(done.readings().size());
    if (!done.normal()) {
      const auto& found = done.ranking().explanations;
      alarms += found.empty() || !found.front().faults.empty();
    }
  }
  std::mt19937_64 random(3);
  for (int k = 0; k < kSingles; ++k) {
    const auto truth = drawn(seen, 1, random);
    singles.add(desk.run(truth, std::uint64_t(k), desk.search), desk.model.nodes(), truth);
  }
  for (int k = 0; k < kDoubles; ++k) {
    const auto truth = drawn(seen, 2, random);
    doubles.add(desk.run(truth, std::uint64_t(k), desk.search), desk.model.nodes(), truth);
  }
  auto faulty = singles.probings;
  faulty.insert(faulty.end(), doubles.probings.begin(), doubles.probings.end());
  std::sort(faulty.begin(), faulty.end());
  std::printf("%d good packs: %d false alarms, median %zu probings\n", kHealthy, alarms,
              healthy.median());
  std::printf("%d single faults: named %zu, unnoticed %zu, median %zu probings\n", kSingles,
              singles.whole, singles.unnoticed, singles.median());
  std::printf(
      "%d double faults: named whole %zu, one of them %zu, unnoticed %zu, median %zu "
      "probings (the search ends at the first name)\n",
      kDoubles, doubles.whole, doubles.one_of, doubles.unnoticed, doubles.median());
  CHECK(alarms == 0);
  CHECK(healthy.median() <= 22);
  CHECK(faulty[faulty.size() / 2] <= 12);
  CHECK(singles.unnoticed + doubles.unnoticed == 0);
  CHECK(singles.whole >= kSingles * 97 / 100);
  CHECK(doubles.one_of >= kDoubles * 75 / 100);
}

namespace {

using Read = std::function<Observation(const Probe&)>;

// What no list has: each kind's pack of a seed.
struct Unknown {
  const char* name;
  std::function<Read(std::uint64_t)> read_for;
  int none = 0, of = 0;
};

std::vector<Unknown> unknowns(const Desk& desk, const std::vector<Instance>& seen) {
  const auto healthy = [&desk](std::uint64_t seed) {
    return std::make_shared<DrawnPack>(desk.scene, std::vector<Guess>{}, 0.05, seed);
  };
  const auto in_another_position = [&desk, healthy](auto position) {
    return [&desk, healthy, position](std::uint64_t seed) -> Read {
      return [&desk, position, pack = healthy(seed)](const Probe& probe) {
        auto there = desk.scene.situations()[probe.situation];
        there.state.lever = position(*there.state.lever, desk.profile.lever->positions.size());
        return pack->read_in(probe, there);
      };
    };
  };
  return {
      {"lever one position off",
       in_another_position([](std::size_t at, std::size_t of) { return (at + 1) % of; })},
      // The table from the other end of the lever.
      {"contacts of another kind of pack",
       in_another_position([](std::size_t at, std::size_t of) { return of - 1 - at; })},
      {"every fourth reading open by chance",
       [healthy](std::uint64_t seed) -> Read {
         auto random = std::make_shared<std::mt19937_64>(seed);
         return [pack = healthy(seed), random](const Probe& probe) {
           Observation out = pack->read(probe);
           if ((*random)() % 4 == 0) out.ohm = INFINITY;
           return out;
         };
       }},
      {"five faults at once",
       [&desk, seen](std::uint64_t seed) -> Read {
         std::mt19937_64 random(500 + seed);
         auto pack = std::make_shared<DrawnPack>(desk.scene, drawn(seen, 5, random), 0.05, seed);
         return [pack](const Probe& probe) { return pack->read(probe); };
       }},
  };
}

}  // namespace

TEST_CASE("faults that no list has are answered \"none of these\"") {
  Desk desk("six-speed-20-pin", 0.04, {.lever = true, .tie = true, .soak = false, .source = false});
  constexpr std::uint64_t kEach = 12;
  // 48 of which 4 may be taken for another fault, ended early.
  tests::Sequential taken({.good = 0.0274, .bad = 0.2232});
  SearchOptions thorough = desk.search;
  thorough.thorough = true;
  const auto seen = seen_by_meter(desk);
  auto kinds = unknowns(desk, seen);
  for (std::uint64_t k = 0; k < kEach && (taken.is_open() || tests::long_form()); ++k)
    for (Unknown& kind : kinds) {
      Search done = desk.run(thorough, kind.read_for(k));
      const bool none = !done.normal() && done.ranking().none_of_these > 0.5;
      kind.none += none, ++kind.of;
      taken.add(!none);
    }
  for (const Unknown& kind : kinds)
    std::printf("unknown: %-44s none of these %d of %d\n", kind.name, kind.none, kind.of);
  std::printf("unknown faults: %zu of %zu taken for another\n", taken.failures(), taken.cases());
  CHECK(taken.says() != tests::Sequential::Says::bad);
  CHECK(double(taken.failures()) <= 0.1 * double(taken.cases()));
}
