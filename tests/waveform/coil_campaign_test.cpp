// Eight coils with twelve faults each, simulated by Debian's ngspice, as digitisers
// of 8 and 12 bits see them through 0.2, 0.5 and 1 % of noise. The good units that
// faults are told from are noisy captures of the same bench; the temperature is
// known to 1 K.
#include <doctest/doctest.h>

#include <algorithm>
#include <cstdio>
#include <future>
#include <map>
#include <random>

#include "waveform/bench_coil.h"
#include "waveform/causes.h"
#include "waveform/spice_coils.h"

using namespace pinproof::waveform;
using pinproof::Estimate;

namespace {

constexpr double kNoises[] = {0.002, 0.005, 0.01};
constexpr int kBits[] = {8, 12};
constexpr double kCopper_K = 0.00393;  // of resistance a kelvin (IEC 60028)

struct Bench {
  double noise;
  int bits;
};

// Over a range a quarter larger than the signal.
Capture seen_by(const Bench& bench, const Capture& ideal, std::uint32_t seed) {
  return digitise(ideal, bench.noise, bench.bits, seed, 1.25);
}

Estimate thermometer(std::uint32_t seed) {
  std::mt19937 random(seed + 99991);
  return {1 + kCopper_K * std::normal_distribution<double>()(random), kCopper_K};
}

AnalysisOptions options_for(const SpiceCoil& coil) {
  AnalysisOptions out;
  out.coil_class = coil.variable ? PlungerAction::variable : PlungerAction::on_off;
  return out;
}

struct Simulated {
  SpiceCoil coil;
  std::vector<SpiceRun> runs;  // in the order of spice_faults()
};

// Two at a time, once for all the cases.
const std::vector<Simulated>& simulated() {
  static const std::vector<Simulated> all = [] {
    std::vector<Simulated> out;
    for (const SpiceCoil& coil : spice_coils())
      out.push_back({coil, std::vector<SpiceRun>(spice_faults().size())});
    const auto work = [&](std::size_t first) {
      for (std::size_t c = first; c < out.size(); c += 2)
        for (std::size_t f = 0; f < spice_faults().size(); ++f) {
          SpiceCoil coil = out[c].coil;
          spice_faults()[f].edit(coil);
          out[c].runs[f] = run_spice(coil);
        }
    };
    auto other = std::async(std::launch::async, work, 1);
    work(0);
    other.get();
    return out;
  }();
  return all;
}

ExpectedTraits known_good(const Simulated& s, const Bench& bench) {
  std::vector<GoodCapture> good;
  for (std::uint32_t seed = 1; seed <= 8; ++seed)
    good.push_back({analyse(seen_by(bench, s.runs[0].capture, 1000 + seed), options_for(s.coil)),
                    thermometer(seed)});
  return learn_expected(good);
}

std::string top_of(const std::vector<CoilFinding>& findings) {
  return findings.empty() ? "" : findings.front().kind;
}

struct Errors {
  double seat = 0, begin = 0;
  int seats = 0, begins = 0, expected_seats = 0, expected_begins = 0;
};

void take(const CoilFigures& f, const SpiceRun& run, Errors& e) {
  const bool moves = run.begin_s > 0;
  e.expected_begins += moves;
  if (moves && f.travel_begin) {
    ++e.begins;
    e.begin = std::max(e.begin, std::abs(f.travel_begin->at_s - run.begin_s));
  }
  e.expected_seats += run.seat_s > 0;
  if (f.pull_in && run.seat_s > 0) {
    ++e.seats;
    e.seat = std::max(e.seat, std::abs(f.pull_in->at_s - run.seat_s));
  }
}

}  // namespace

TEST_CASE("twelve faults of eight coils are named, and no healthy coil is called faulty") {
  std::map<double, Errors> errors;
  std::map<std::string, std::pair<int, int>> by_fault;  // right, of
  std::map<std::string, int> wrong;
  int five_right = 0, five = 0, right = 0, all = 0, healthy = 0, accused = 0;
  for (const Simulated& s : simulated())
    for (const double noise : kNoises)
      for (const int bits : kBits) {
        const Bench bench{noise, bits};
        const ExpectedTraits expected = known_good(s, bench);
        for (std::size_t f = 0; f < spice_faults().size(); ++f) {
          const SpiceFault& fault = spice_faults()[f];
          const std::uint32_t seeds = f == 0 ? 63 : 4;
          for (std::uint32_t seed = 1; seed <= seeds; ++seed) {
            const auto figures =
                analyse(seen_by(bench, s.runs[f].capture, seed), options_for(s.coil));
            if (fault.finding != "coil-shorted") take(figures, s.runs[f], errors[noise]);
            const auto top = top_of(explain(figures, thermometer(seed), expected));
            const std::string line = s.coil.name + ", " + std::string(fault.name) + ", " +
                                     std::to_string(noise) + ", " + std::to_string(bits) +
                                     " bits: " + (top.empty() ? "healthy" : top);
            if (f == 0) {
              ++healthy, accused += !top.empty();
              if (!top.empty()) ++wrong[line];
              continue;
            }
            const bool ok = top == fault.finding;
            auto& tally = by_fault[std::string(fault.name)];
            ++tally.second, tally.first += ok;
            ++all, right += ok;
            if (fault.name == "5 % of the turns" && noise == 0.005) ++five, five_right += ok;
            if (!ok) ++wrong[line];
          }
        }
      }
  for (const auto& [name, tally] : by_fault)
    std::printf("  %-22s %4d of %4d\n", name.c_str(), tally.first, tally.second);
  std::printf(
      "right %d of %d (%.2f %%); healthy called faulty %d of %d; 5 %% of turns at 0.5 %% "
      "noise %d of %d\n",
      right, all, 100.0 * right / all, accused, healthy, five_right, five);
  for (const auto& [noise, e] : errors)
    std::printf(
        "noise %.1f %%: seating off by %.3f ms at most (%d of %d seen), begin of travel by "
        "%.3f ms (%d of %d seen)\n",
        100 * noise, 1e3 * e.seat, e.seats, e.expected_seats, 1e3 * e.begin, e.begins,
        e.expected_begins);
  for (const auto& [line, count] : wrong) std::printf("  wrong %d x %s\n", count, line.c_str());
  CHECK(healthy >= 3000);
  CHECK(accused == 0);
  CHECK(right >= 0.98 * all);
  CHECK(five_right >= 0.95 * five);
  CHECK(errors[0.005].seat <= 0.1e-3);
  CHECK(errors[0.005].begin <= 0.2e-3);
  CHECK(errors[0.005].begins >= 0.98 * errors[0.005].expected_begins);
}
