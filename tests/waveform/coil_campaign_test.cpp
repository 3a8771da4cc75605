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

#include "campaign/sequential.h"
#include "waveform/bench_coil.h"
#include "waveform/causes.h"
#include "waveform/spice_coils.h"

using namespace pinproof::waveform;
using pinproof::Estimate;
using pinproof::tests::Sequential;

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

// Of good coils called faulty none may come in 3,024: a share of 0.1 % shows with 95 %.
constexpr std::uint32_t kHealthySeeds = 63;
constexpr std::uint32_t kMostSeeds = 4;  // of each faulty coil, at most

// The test of the fixed sample that each of these ends early, with its own risks at the same
// shares: of 2,304 faulty coils 46 may go by another name, of 64 with 5 % of their turns shorted 3
// may (and begins of travel may be missed in 30 of 1,520, which is counted to the end).
constexpr pinproof::tests::Shares kNamed{.good = 0.0142, .bad = 0.0278};
constexpr pinproof::tests::Shares kFivePercent{.good = 0.0129, .bad = 0.1484};

struct Place {
  const Simulated* coil;
  Bench bench;
  ExpectedTraits expected;
};

std::vector<Place> places() {
  std::vector<Place> out;
  for (const Simulated& s : simulated())
    for (const double noise : kNoises)
      for (const int bits : kBits) {
        const Bench bench{noise, bits};
        out.push_back({&s, bench, known_good(s, bench)});
      }
  return out;
}

class Campaign {
 public:
  void healthy(const Place& at) {
    for (std::uint32_t seed = 1; seed <= kHealthySeeds; ++seed) {
      const std::string top = look(at, 0, seed);
      ++healthy_, accused_ += !top.empty();
      if (!top.empty()) note(at, 0, top);
    }
  }

  void faulty(const Place& at, std::size_t f, std::uint32_t seed) {
    const SpiceFault& fault = spice_faults()[f];
    const std::string top = look(at, f, seed);
    const bool ok = top == fault.finding;
    auto& [right, of] = by_fault_[std::string(fault.name)];
    ++of, right += ok;
    if (!ok) note(at, f, top);
    named_.add(!ok);
    if (is_five_percent(at, f)) five_.add(!ok);
  }

  static bool is_five_percent(const Place& at, std::size_t f) {
    return spice_faults()[f].name == "5 % of the turns" && at.bench.noise == 0.005;
  }

  void print() const {
    for (const auto& [name, tally] : by_fault_)
      std::printf("  %-22s %4d of %4d\n", name.c_str(), tally.first, tally.second);
    std::printf(
        "another name %zu of %zu; healthy called faulty %d of %d; 5 %% of turns at 0.5 %% noise "
        "by another name %zu of %zu\n",
        named_.failures(), named_.cases(), accused_, healthy_, five_.failures(), five_.cases());
    for (const auto& [noise, e] : errors_)
      std::printf(
          "noise %.1f %%: seating off by %.3f ms at most (%d of %d seen), begin of travel by "
          "%.3f ms (%d of %d seen)\n",
          100 * noise, 1e3 * e.seat, e.seats, e.expected_seats, 1e3 * e.begin, e.begins,
          e.expected_begins);
    for (const auto& [line, count] : wrong_) std::printf("  wrong %d x %s\n", count, line.c_str());
  }

  const Sequential& named() const { return named_; }
  const Sequential& five_percent() const { return five_; }
  int healthy() const { return healthy_; }
  int accused() const { return accused_; }
  const Errors& errors(double noise) { return errors_[noise]; }

 private:
  std::string look(const Place& at, std::size_t f, std::uint32_t seed) {
    const SpiceRun& run = at.coil->runs[f];
    const auto figures = analyse(seen_by(at.bench, run.capture, seed), options_for(at.coil->coil));
    if (spice_faults()[f].finding != "coil-shorted") take(figures, run, errors_[at.bench.noise]);
    return top_of(explain(figures, thermometer(seed), at.expected));
  }

  void note(const Place& at, std::size_t f, const std::string& top) {
    ++wrong_[at.coil->coil.name + ", " + std::string(spice_faults()[f].name) + ", " +
             std::to_string(at.bench.noise) + ", " + std::to_string(at.bench.bits) +
             " bits: " + (top.empty() ? "healthy" : top)];
  }

  std::map<double, Errors> errors_;
  std::map<std::string, std::pair<int, int>> by_fault_;  // right, of
  std::map<std::string, int> wrong_;
  Sequential named_{kNamed}, five_{kFivePercent};
  int healthy_ = 0, accused_ = 0;
};

}  // namespace

TEST_CASE("twelve faults of eight coils are named, and no healthy coil is called faulty") {
  Campaign campaign;
  const auto all = places();
  for (const Place& at : all) campaign.healthy(at);
  // Every coil with every fault on every bench at least once.
  for (std::uint32_t seed = 1; seed <= kMostSeeds; ++seed) {
    const bool enough = !campaign.named().is_open() && !pinproof::tests::long_form();
    for (const Place& at : all)
      for (std::size_t f = 1; f < spice_faults().size(); ++f)
        if (!enough || Campaign::is_five_percent(at, f)) campaign.faulty(at, f, seed);
  }
  campaign.print();
  CHECK(campaign.healthy() >= 3000);
  CHECK(campaign.accused() == 0);
  CHECK(campaign.named().failures() <= 0.02 * double(campaign.named().cases()));
  CHECK(campaign.named().says() != Sequential::Says::bad);
  CHECK(campaign.five_percent().failures() <= 0.05 * double(campaign.five_percent().cases()));
  CHECK(campaign.five_percent().says() != Sequential::Says::bad);
  const Errors& errors = campaign.errors(0.005);
  CHECK(errors.seat <= 0.1e-3);
  CHECK(errors.begin <= 0.2e-3);
  CHECK(errors.begins >= 0.98 * errors.expected_begins);
}
