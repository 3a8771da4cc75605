// Samples that were lost or came twice, and bursts of noise: seen where they are,
// and not in good captures.
#include "waveform/disturbed.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <random>
#include <string>

#include "tables/capture_csv.h"
#include "waveform/bench_coil.h"
#include "waveform/coil_figures.h"
#include "waveform/files.h"
#include "waveform/plunger.h"

using namespace pinproof::waveform;

namespace {

Capture from_spice(const std::string& name) {
  pinproof::tables::CsvOptions options;
  options.file = name;
  return pinproof::tables::read_capture_csv(data_file("spice/" + name + ".csv"), options).capture;
}

constexpr const char* kSpice[] = {"healthy_diode", "healthy_zener30", "hot_120C",
                                  "stuck_open",    "shorted_10pct",   "contact_plus_3ohm"};

// What the link loses moves the rest up; the count stays, as does the last value.
void lose(std::vector<double>& x, std::size_t at, std::size_t n) {
  const auto from = x.begin() + static_cast<std::ptrdiff_t>(at);
  const double last = x.back();
  x.erase(from, from + static_cast<std::ptrdiff_t>(n));
  x.insert(x.end(), n, last);
}

void repeat(std::vector<double>& x, std::size_t at, std::size_t n) {
  const auto from = x.begin() + static_cast<std::ptrdiff_t>(at);
  const std::vector<double> again(from, from + static_cast<std::ptrdiff_t>(n));
  const std::size_t size = x.size();
  x.insert(x.begin() + static_cast<std::ptrdiff_t>(at), again.begin(), again.end());
  x.resize(size);
}

void burst(std::vector<double>& x, std::size_t at, std::size_t n, double sigma,
           std::mt19937& random) {
  std::normal_distribution<double> normal(0, sigma);
  for (std::size_t k = at; k < std::min(at + n, x.size()); ++k) x[k] += normal(random);
}

struct Kind {
  const char* name;
  std::function<void(Capture&, std::size_t at, std::size_t n)> spoil;
};

const std::vector<Kind>& one_channel() {
  static const std::vector<Kind> kinds{
      {"current, lost",
       [](Capture& c, std::size_t at, std::size_t n) { lose(c.current_A, at, n); }},
      {"voltage, lost",
       [](Capture& c, std::size_t at, std::size_t n) { lose(c.voltage_V, at, n); }},
      {"current, twice",
       [](Capture& c, std::size_t at, std::size_t n) { repeat(c.current_A, at, n); }},
      {"voltage, twice",
       [](Capture& c, std::size_t at, std::size_t n) { repeat(c.voltage_V, at, n); }}};
  return kinds;
}

// Of 200 blocks at random places from the first sample to `end`, how many are seen.
int seen_of_200(const Capture& good, const Kind& kind, double share, std::size_t end) {
  const auto n = static_cast<std::size_t>(share * static_cast<double>(good.current_A.size()));
  std::mt19937 random(11);
  std::uniform_int_distribution<std::size_t> place(0, end - n - 1);
  int seen = 0;
  for (int k = 0; k < 200; ++k) {
    Capture c = good;
    kind.spoil(c, place(random), n);
    seen += find_disturbance(c).has_value();
  }
  return seen;
}

std::size_t index_of(const Capture& c, double s) {
  return static_cast<std::size_t>((s - c.start_s) / c.interval_s);
}

Capture simulated(double clamp_V, double k_Hm, int bits, std::uint32_t seed) {
  BenchCoil coil;
  coil.k_Hm = k_Hm;
  BenchDrive drive;
  drive.clamp_V = clamp_V;
  drive.pulse_s = 80e-3;
  return digitise(run(coil, drive).capture, bits == 8 ? 3e-3 : 3e-4, bits, seed);
}

}  // namespace

TEST_CASE("good captures are not disturbed") {
  for (const char* name : kSpice) {
    CAPTURE(name);
    const auto seen = find_disturbance(from_spice(name));
    CHECK_MESSAGE(!seen, (seen ? text_of(*seen) : std::string()));
    CHECK_FALSE(find_interruption(from_spice(name)));
  }
  int flagged = 0, tried = 0;
  for (const double clamp : {0.7, 12.0, 33.0, 200.0})
    for (const double k_Hm : {12e-6, 35.3e-6, 90e-6})
      for (const int bits : {8, 10, 14, 0})
        for (std::uint32_t seed = 1; seed <= 5; ++seed, ++tried) {
          const Capture c = simulated(clamp, k_Hm, bits, seed);
          flagged += find_disturbance(c).has_value() || find_interruption(c).has_value();
        }
  MESSAGE("flagged ", flagged, " of ", tried, " simulated good captures");
  CHECK(flagged == 0);
}

TEST_CASE("what a bench or a coil may do is no disturbance") {
  BenchDrive drive;
  const auto undisturbed = [](const Capture& c) { return !find_disturbance(c).has_value(); };
  SUBCASE("pulses of any length") {
    for (int ms = 1; ms <= 60; ++ms) {
      drive.pulse_s = 1e-3 * ms;
      CAPTURE(ms);
      CHECK(undisturbed(digitise(run(BenchCoil{}, drive).capture, 1e-3, 14, 3)));
    }
  }
  SUBCASE("a supply that goes into its limit, or rises slowly") {
    for (const double limit : {0.2, 0.5, 0.9}) {
      drive.limit_A = limit;
      CHECK(undisturbed(digitise(run(BenchCoil{}, drive).capture, 1e-3, 14, 3)));
    }
    drive.limit_A = 0, drive.edge_s = 2e-3;
    CHECK(undisturbed(digitise(run(BenchCoil{}, drive).capture, 1e-3, 14, 3)));
  }
  SUBCASE("hum, single wild samples, no voltage channel") {
    Capture c = simulated(0.7, 35.3e-6, 14, 4);
    for (std::size_t k = 0; k < c.current_A.size(); ++k)
      c.current_A[k] += 0.02 * std::sin(314.2 * c.time(static_cast<double>(k)));
    c.current_A[900] = 0, c.current_A[1700] = 3, c.voltage_V[2000] = 0;
    CHECK(undisturbed(c));
    c.voltage_V.clear();
    CHECK(undisturbed(c));
  }
  SUBCASE("a plunger that bounces") {
    BenchCoil coil;
    coil.stop_loss_s_per_m = 0.5;
    CHECK(undisturbed(digitise(run(coil, drive).capture, 3e-4, 14, 3)));
  }
  SUBCASE("a modulated capture") {
    Capture c = simulated(0.7, 35.3e-6, 14, 5);
    for (std::size_t k = 200; k < 3000; ++k)
      if (k / 50 % 2 == 0) c.voltage_V[k] = -0.7;
    CHECK(undisturbed(c));
  }
}

// Thevenin: the load's going lifts the voltage by the source's drop.
TEST_CASE("a winding that opens for a while is the part's fault, at any time of the pulse") {
  int flagged = 0, seen = 0, back = 0;
  for (int at_ms = 10; at_ms <= 76; at_ms += 3) {
    BenchDrive drive;
    drive.source_ohm = 0.4, drive.pulse_s = 80e-3;
    Capture c = run(BenchCoil{}, drive).capture;
    const std::size_t from = index_of(c, at_ms * 1e-3), to = from + 250;
    const std::size_t on = index_of(c, 0), off = index_of(c, drive.pulse_s);
    const double full_A = c.current_A[off - 1];
    for (std::size_t k = from; k < off; ++k) {
      const std::size_t since = k < to ? 0 : on + k - to;
      c.voltage_V[k] += drive.source_ohm * (c.current_A[k] - (k < to ? 0 : c.current_A[since]));
      c.current_A[k] = k < to ? 0 : c.current_A[since];
    }
    const double left = to < off ? c.current_A[off - 1] / full_A : 0;
    for (std::size_t k = off; k < c.current_A.size(); ++k) c.current_A[k] *= left;
    const auto f = analyse(digitise(c, 3e-4, 14, 3), {});
    flagged += f.status == Status::disturbed;
    // One that lasts to the switch-off may as well be a lost end.
    seen += std::isfinite(f.broke_off_s);
    if (to + 50 < off) {
      ++back;
      CHECK(f.broke_off_s == doctest::Approx(c.time(static_cast<double>(from))).epsilon(0.01));
    }
  }
  CHECK(flagged == 0);
  CHECK(seen >= back);
}

TEST_CASE("samples of one channel that were lost or came twice before the switch-off") {
  for (const char* name : {"healthy_diode", "healthy_zener30", "stuck_open"}) {
    const Capture good = from_spice(name);
    const std::size_t off = index_of(good, 41e-3);
    for (const Kind& kind : one_channel())
      for (const double share : {0.003, 0.01, 0.03, 0.1}) {
        const int seen = seen_of_200(good, kind, share, off);
        MESSAGE(std::string(name), ", ", std::string(kind.name), ", ", 100 * share, " %: seen ",
                seen, " of 200");
        CHECK(seen >= 195);
      }
  }
}

TEST_CASE("the same, anywhere in the sweep, on a noisy digitiser") {
  for (const int bits : {14, 8})
    for (const double clamp : {0.7, 33.0}) {
      const Capture good = simulated(clamp, 35.3e-6, bits, 2);
      int seen = 0;
      for (const Kind& kind : one_channel())
        seen += seen_of_200(good, kind, 0.02, good.current_A.size());
      MESSAGE(bits, " bits, clamp ", clamp, " V, 2 %: seen ", seen, " of 800");
      // What is lost behind the decay changes nothing.
      CHECK(seen >= 400);
    }
}

TEST_CASE("the same block lost in both channels is seen where the current rises") {
  const Capture good = simulated(0.7, 35.3e-6, 14, 2);
  std::mt19937 random(5);
  std::uniform_real_distribution<double> place(0.4e-3, 3e-3);
  int seen = 0;
  for (int k = 0; k < 200; ++k) {
    Capture c = good;
    const std::size_t at = index_of(c, place(random));
    lose(c.current_A, at, 40), lose(c.voltage_V, at, 40);
    seen += find_disturbance(c).has_value();
  }
  MESSAGE("both channels, in the rise: seen ", seen, " of 200");
  CHECK(seen >= 180);
}

TEST_CASE("bursts of noise are seen when they are many times the noise") {
  const Capture good = simulated(0.7, 35.3e-6, 14, 2);
  std::mt19937 random(6);
  std::uniform_int_distribution<std::size_t> place(0, good.current_A.size() - 20);
  for (const bool current : {true, false}) {
    int seen = 0;
    for (int k = 0; k < 200; ++k) {
      Capture c = good;
      burst(current ? c.current_A : c.voltage_V, place(random), 12, current ? 0.04 : 0.4, random);
      const auto what = find_disturbance(c);
      seen += what.has_value();
    }
    MESSAGE("bursts in the ", std::string(current ? "current" : "voltage"), ": seen ", seen,
            " of 200");
    CHECK(seen >= 180);
  }
}

TEST_CASE("a disturbed capture has a status, a reason and no figures") {
  Capture c = simulated(0.7, 35.3e-6, 14, 2);
  lose(c.current_A, index_of(c, 1.5e-3), 60);
  const auto f = analyse(c, {});
  CHECK(f.status == Status::disturbed);
  CHECK_FALSE(f.disturbance.empty());
  CHECK_FALSE(f.resistance_ohm.usable());
  CHECK_FALSE(f.pull_in);
  REQUIRE(f.findings.size() == 1);
  CHECK(f.findings[0].kind == "capture-disturbed");
}

// A jump of one sample makes the smoother ring, which looks like a dip; the samples
// around it have both vertices at one place, or the valley's before the peak's.
TEST_CASE("a dip's valley comes after its peak, however abrupt the change") {
  int dips = 0, tried = 0;
  for (const bool jammed : {false, true})
    for (const double interval : {10e-6, 20e-6, 40e-6})
      for (std::size_t n = 5; n < 65; ++n, ++tried) {
        BenchCoil coil;
        coil.jammed = jammed;
        BenchDrive drive;
        drive.interval_s = interval;
        Capture c = run(coil, drive).capture;
        lose(c.current_A, index_of(c, 1e-3 + 5e-5 * static_cast<double>(n)), n);
        const Prepared p = prepare(digitise(c, 1e-3, 14, static_cast<std::uint32_t>(n)), {});
        REQUIRE(p.status == Status::ok);
        const auto dip = find_seating(p, settle(p, {}));
        if (!dip) continue;
        ++dips;
        CHECK(dip->valley > dip->peak);
      }
  MESSAGE(dips, " dips of ", tried);
}
