// Pair resistances against textbook networks and against their own reconstruction.
#include "network/resistances.h"

#include <doctest/doctest.h>

#include <cmath>
#include <random>
#include <stdexcept>

#include "network/sweep.h"

using namespace pinproof::network;

TEST_CASE("resistance between the corners of a cube of one-ohm edges") {
  // 7/12, 3/4 and 5/6 ohm along an edge, a face's and the body's diagonal: Wheatstone bridge
  // exercises of every textbook (F. J. van Steenwijk, Am. J. Phys. 66, 90 (1998), from memory).
  std::vector<Edge> edges;
  for (std::size_t i = 0; i < 8; ++i)
    for (const std::size_t bit : {1U, 2U, 4U})
      if (!(i & bit)) edges.push_back({i, i | bit, 1.0});
  const auto r = Resistances::of(8, edges);
  CHECK(r(0, 1) == doctest::Approx(7.0 / 12));
  CHECK(r(0, 3) == doctest::Approx(3.0 / 4));
  CHECK(r(0, 7) == doctest::Approx(5.0 / 6));
}

TEST_CASE("Foster's theorem: conductance times resistance over all edges is nodes less parts") {
  // R. M. Foster, 1949 (from memory). Two separate parts here.
  std::mt19937_64 random(1);
  std::uniform_real_distribution<double> log_ohm(-3, 8);
  std::vector<Edge> edges;
  const auto add = [&](std::size_t a, std::size_t b) {
    edges.push_back({a, b, std::pow(10, -log_ohm(random))});
  };
  for (std::size_t i = 1; i < 12; ++i) add(i, random() % i);
  for (std::size_t i = 13; i < 20; ++i) add(i, 12 + random() % (i - 12));
  for (int k = 0; k < 15; ++k) {
    const std::size_t a = random() % 12, b = random() % 12;
    if (a != b) add(a, b);
  }
  const auto r = Resistances::of(20, edges);
  double sum = 0;
  for (const Edge& e : edges) sum += e.siemens * r(e.a, e.b);
  CHECK(sum == doctest::Approx(18).epsilon(1e-9));
  CHECK(std::isinf(r(0, 15)));
}

TEST_CASE("an update equals building anew, with a leak of 1e-10 S beside joints of 1e3 S") {
  std::vector<Edge> edges{{0, 1, 1e3}, {1, 2, 1 / 13.0}, {3, 4, 1e3}, {0, 4, 1e-10}, {2, 3, 1e-10}};
  auto updated = Resistances::of(5, edges);
  updated.add({1, 3, 1e-10});
  updated.add({1, 2, 0.2 / 13});
  edges.push_back({1, 3, 1e-10}), edges[1].siemens *= 1.2;
  const auto built = Resistances::of(5, edges);
  for (std::size_t i = 0; i < 5; ++i)
    for (std::size_t j = 0; j < i; ++j)
      CHECK(updated(i, j) == doctest::Approx(built(i, j)).epsilon(1e-7));
  CHECK(built(1, 2) == doctest::Approx(13 / 1.2).epsilon(1e-9));
}

TEST_CASE("what cannot be is refused") {
  auto r = Resistances::of(3, {{0, 1, 0.5}});
  CHECK_THROWS_AS(r.add({0, 1, 0.0}), std::invalid_argument);
  CHECK_THROWS_AS(r.add({0, 1, NAN}), std::invalid_argument);
  CHECK_THROWS_AS(r.add({0, 7, 1.0}), std::invalid_argument);
  CHECK_THROWS_AS(r.add({0, 2, -1.0}), std::invalid_argument);
  CHECK_THROWS_AS(r.add({0, 1, -1.0}), std::invalid_argument);
  CHECK_THROWS_AS(Resistances::of(2, {{0, 1, -1.0}}), std::invalid_argument);
}

TEST_CASE("a sweep scores a second fault as the network with both does") {
  std::mt19937_64 random(4);
  const auto uniform = [&](double low, double high) {
    return std::uniform_real_distribution<double>(low, high)(random);
  };
  constexpr std::size_t kNodes = 9;
  std::vector<Edge> edges[2];
  for (auto& network : edges) {
    for (std::size_t i = 1; i < kNodes; ++i) network.push_back({i, random() % i, uniform(0.01, 2)});
    for (std::size_t i = 0; i < kNodes; ++i) network.push_back({i, (i + 3) % kNodes, 1e-6});
  }
  for (const bool transfers : {false, true})
    for (const double ceiling : {double(INFINITY), 5.0}) {
      std::vector<Sighting> readings;
      for (int k = 0; k < 37; ++k) {
        const std::size_t a = random() % kNodes, b = (a + 1 + random() % (kNodes - 1)) % kNodes;
        Sight sight = between(a, b);
        if (transfers) sight.c = random() % kNodes, sight.d = (sight.c + 1) % kNodes;
        readings.push_back({sight, random() % 2, uniform(0, 4), uniform(0.1, 9)});
      }
      const auto one = Resistances::of(kNodes, edges[0]), two = Resistances::of(kNodes, edges[1]);
      const Resistances* networks[] = {&one, &two};
      FaultSweep sweep(kNodes, 2, readings, ceiling);
      sweep.stand_on(networks);
      for (int k = 0; k < 20; ++k) {
        const std::size_t a = random() % kNodes, b = (a + 1 + random() % (kNodes - 1)) % kNodes;
        const double siemens[] = {uniform(0.001, 3), k % 2 ? uniform(0.001, 3) : 0.0};
        double out = 0, want = 0;
        const Change change{a, b, siemens};
        sweep.misfits({&change, 1}, {&out, 1});
        Resistances both[] = {one, two};
        for (const std::size_t n : {0U, 1U})
          if (siemens[n] > 0) both[n].add({a, b, siemens[n]});
        for (const Sighting& z : readings) {
          const double there = both[z.network].transfer(z.sight.a, z.sight.b, z.sight.c, z.sight.d);
          want += z.weight * std::pow(std::min(there, ceiling) - z.ohm, 2);
        }
        CHECK(out == doctest::Approx(want).epsilon(1e-9));
      }
      // The size that sets a reading right does.
      const auto worst = sweep.worst(1, 0);
      REQUIRE(worst.size() == 1);
      const Sighting& z = readings[worst[0]];
      const double g = sweep.siemens_for(worst[0], z.sight.a, z.sight.b);
      if (std::isfinite(g) && g > 0) {
        Resistances fixed = *networks[z.network];
        fixed.add({z.sight.a, z.sight.b, g});
        CHECK(fixed.transfer(z.sight.a, z.sight.b, z.sight.c, z.sight.d) ==
              doctest::Approx(z.ohm).epsilon(1e-6));
      }
    }
}
