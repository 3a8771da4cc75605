// All double faults of a 23-pin network scored against all its pair resistances:
// our sweep beside refactoring the nodal matrix for each with Eigen. A table, not a test.
#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <Eigen/LU>
#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <map>
#include <random>
#include <span>
#include <vector>

#include "network/resistances.h"
#include "network/sweep.h"

using pinproof::network::Change;
using pinproof::network::Edge;
using pinproof::network::FaultSweep;
using pinproof::network::Resistances;
using pinproof::network::Sighting;

namespace {

constexpr std::size_t kPins = 23;
constexpr std::size_t kPairs = kPins * (kPins - 1) / 2;

// A star of coils on a feed, contacts to a case, insulation of each pin in siemens.
std::vector<Edge> pack(double insulation) {
  std::vector<Edge> out;
  for (std::size_t k = 1; k <= 9; ++k) out.push_back({0, k, 1 / (12.0 + 0.1 * double(k))});
  for (std::size_t k = 10; k < 20; ++k)
    if (k % 2) out.push_back({k, kPins - 1, 1 / 0.4});
  out.push_back({20, kPins - 1, 1 / 2500.0});
  out.push_back({21, kPins - 1, 1 / 0.05});
  for (std::size_t k = 0; k + 1 < kPins; ++k) out.push_back({k, kPins - 1, insulation});
  return out;
}

// 253 pairs bridged, 253 leaking, 39 changes of what is there: 546 single faults.
std::vector<Edge> faults() {
  std::vector<Edge> out;
  for (const double siemens : {20.0, 2e-5})
    for (std::size_t a = 0; a < kPins; ++a)
      for (std::size_t b = a + 1; b < kPins; ++b) out.push_back({a, b, siemens});
  for (std::size_t k = 1; k <= 9; ++k)
    for (const double share : {-0.3, 0.1, 0.2, 10.0}) out.push_back({0, k, share / 12.5});
  out.push_back({20, kPins - 1, -1e-4}), out.push_back({20, kPins - 1, 2e-4});
  out.push_back({21, kPins - 1, -10});
  out.push_back({21, kPins - 1, -7});
  return out;
}

double seconds_since(std::chrono::steady_clock::time_point start) {
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}

std::vector<Sighting> readings(double insulation) {
  auto edges = pack(insulation);
  edges.push_back({3, 14, 3e-5}), edges.push_back({0, 5, 0.2 / 12.5});
  const auto truth = Resistances::of(kPins, edges);
  std::mt19937_64 random(5);
  std::normal_distribution<double> normal;
  std::vector<Sighting> out;
  for (std::size_t a = 0; a < kPins; ++a)
    for (std::size_t b = a + 1; b < kPins; ++b) {
      const double u = 0.04 * truth(a, b) + 0.05;
      out.push_back(
          {pinproof::network::between(a, b), 0, truth(a, b) + u * normal(random), 1 / (u * u)});
    }
  return out;
}

std::vector<double> by_sweep(const std::vector<Sighting>& seen, const std::vector<Edge>& all,
                             double insulation) {
  const auto healthy = Resistances::of(kPins, pack(insulation));
  FaultSweep sweep(kPins, 1, seen);
  std::vector<Change> seconds;
  for (const Edge& edge : all) seconds.push_back({edge.a, edge.b, &edge.siemens});
  std::vector<double> out(all.size() * (all.size() - 1) / 2);
  std::size_t done = 0;
  for (std::size_t i = 0; i < all.size(); ++i) {
    Resistances first = healthy;
    first.add(all[i]);
    const Resistances* networks[] = {&first};
    sweep.stand_on(networks);
    const std::size_t left = all.size() - i - 1;
    sweep.misfits(std::span(seconds).subspan(i + 1), std::span(out).subspan(done, left));
    done += left;
  }
  return out;
}

constexpr Eigen::Index kN = kPins - 1;
using Matrix = Eigen::Matrix<double, kN, kN>;

void stamp(Matrix& m, const Edge& e) {
  const auto a = Eigen::Index(e.a), b = Eigen::Index(e.b);
  if (a < kN) m(a, a) += e.siemens;
  if (b < kN) m(b, b) += e.siemens;
  if (a < kN && b < kN) m(a, b) -= e.siemens, m(b, a) -= e.siemens;
}

Matrix nodal(double insulation) {
  Matrix out = Matrix::Zero();
  for (const Edge& edge : pack(insulation)) stamp(out, edge);
  return out;
}

double misfit(const Matrix& g, const std::vector<Sighting>& seen) {
  double sum = 0;
  for (const Sighting& one : seen) {
    const auto a = Eigen::Index(one.sight.a), b = Eigen::Index(one.sight.b);
    const double r = b < kN ? g(a, a) + g(b, b) - 2 * g(a, b) : g(a, a);
    sum += one.weight * (r - one.ohm) * (r - one.ohm);
  }
  return sum;
}

// The nodal matrix, grounded at the last pin, factored afresh for each double fault.
std::vector<double> by_factoring(const std::vector<Sighting>& seen, const std::vector<Edge>& all,
                                 double insulation) {
  const Matrix healthy = nodal(insulation);
  std::vector<double> out;
  for (std::size_t i = 0; i < all.size(); ++i)
    for (std::size_t j = i + 1; j < all.size(); ++j) {
      Matrix m = healthy;
      stamp(m, all[i]), stamp(m, all[j]);
      out.push_back(misfit(m.llt().solve(Matrix::Identity()), seen));
    }
  return out;
}

// The textbook's way: the healthy inverse, corrected by Woodbury's formula of rank 2.
std::vector<double> by_woodbury(const std::vector<Sighting>& seen, const std::vector<Edge>& all,
                                double insulation) {
  const Matrix g = nodal(insulation).llt().solve(Matrix::Identity());
  const auto incidence = [](const Edge& e) {
    Eigen::Matrix<double, kN, 1> out = Eigen::Matrix<double, kN, 1>::Zero();
    if (Eigen::Index(e.a) < kN) out(Eigen::Index(e.a)) += 1;
    if (Eigen::Index(e.b) < kN) out(Eigen::Index(e.b)) -= 1;
    return out;
  };
  std::vector<double> out;
  for (std::size_t i = 0; i < all.size(); ++i)
    for (std::size_t j = i + 1; j < all.size(); ++j) {
      Eigen::Matrix<double, kN, 2> u;
      u << incidence(all[i]), incidence(all[j]);
      const Eigen::Matrix<double, kN, 2> gu = g * u;
      Eigen::Matrix2d inner = u.transpose() * gu;
      inner(0, 0) += 1 / all[i].siemens, inner(1, 1) += 1 / all[j].siemens;
      out.push_back(misfit(g - gu * inner.inverse() * gu.transpose(), seen));
    }
  return out;
}

// The judge between the two: every network built anew, its strongest edges first.
double by_building(const std::vector<Sighting>& seen, const Edge& first, const Edge& second,
                   double insulation) {
  std::map<std::pair<std::size_t, std::size_t>, double> siemens;
  auto edges = pack(insulation);
  edges.push_back(first), edges.push_back(second);
  for (const Edge& e : edges) siemens[{std::min(e.a, e.b), std::max(e.a, e.b)}] += e.siemens;
  edges.clear();
  for (const auto& [ends, g] : siemens) edges.push_back({ends.first, ends.second, g});
  const auto r = Resistances::of(kPins, edges);
  double sum = 0;
  for (const Sighting& one : seen) {
    const double off = r(one.sight.a, one.sight.b) - one.ohm;
    sum += one.weight * off * off;
  }
  return sum;
}

template <class Work>
std::pair<double, std::vector<double>> median_of(int times, Work work) {
  std::vector<double> took;
  std::vector<double> result;
  for (int i = 0; i < times; ++i) {
    const auto start = std::chrono::steady_clock::now();
    result = work();
    took.push_back(seconds_since(start));
  }
  std::sort(took.begin(), took.end());
  return {took[took.size() / 2], std::move(result)};
}

double greatest_difference(const std::vector<double>& x, const std::vector<double>& y) {
  double off = 0;
  for (std::size_t k = 0; k < y.size(); ++k) off = std::max(off, std::abs(x[k] - y[k]) / y[k]);
  return off;
}

void line(const char* name, double seconds, std::size_t count) {
  std::printf("  %-28s%8.1f ms  %6.0f ns each\n", name, 1e3 * seconds,
              1e9 * seconds / double(count));
}

// True where the sweep is right.
bool accuracy_at(double insulation) {
  const auto seen = readings(insulation);
  const auto all = faults();
  std::vector<double> built;
  for (std::size_t i = 0; i < all.size(); ++i)
    for (std::size_t j = i + 1; j < all.size(); ++j)
      built.push_back(by_building(seen, all[i], all[j], insulation));
  const double swept = greatest_difference(by_sweep(seen, all, insulation), built);
  std::printf("  %.0e S   %8.1e   %9.1e   %8.1e\n", insulation, swept,
              greatest_difference(by_factoring(seen, all, insulation), built),
              greatest_difference(by_woodbury(seen, all, insulation), built));
  return swept < 1e-6;
}

}  // namespace

int main() {
  constexpr double kInsulation = 1e-8;
  const auto seen = readings(kInsulation);
  const auto all = faults();
  const auto [ours, swept] = median_of(9, [&] { return by_sweep(seen, all, kInsulation); });
  const auto [theirs, factored] =
      median_of(3, [&] { return by_factoring(seen, all, kInsulation); });
  const auto [textbook, updated] =
      median_of(3, [&] { return by_woodbury(seen, all, kInsulation); });
  const double off = greatest_difference(swept, factored);
  const auto best = std::min_element(swept.begin(), swept.end()) - swept.begin();
  const auto its = std::min_element(factored.begin(), factored.end()) - factored.begin();
  std::printf("%zu double faults of a %zu-pin network, each against %zu pair resistances\n",
              swept.size(), kPins, kPairs);
  line("sweep", ours, swept.size());
  line("Woodbury of rank 2", textbook, updated.size());
  line("Eigen LLT, factored afresh", theirs, factored.size());
  std::printf("  ratio to LLT %.0f; scores differ by %.1e at most; same best fault: %s\n",
              theirs / ours, off, best == its ? "yes" : "NO");
  std::printf(
      "greatest relative error, against networks built strongest edge first\n"
      "  insulation   sweep   Eigen LLT   Woodbury\n");
  bool right = best == its && off < 1e-6;
  for (const double insulation : {1e-8, 1e-9, 1e-10}) right = accuracy_at(insulation) && right;
  return right ? 0 : 1;
}
