#include "bench/energise.h"

#include <doctest/doctest.h>

#include <cmath>

#include "paths.h"
#include "profile/load.h"
#include "quantity/error.h"

using namespace pinproof;

namespace {

struct FakeSupply : bench::Supply {
  int offs = 0;
  bool fail = false;
  std::string name() const override { return "fake"; }
  bool times_pulses() const override { return true; }
  void set(Voltage, Current, const bench::Patience&) override {}
  void pulse(Duration, const bench::Patience&) override {}
  void off() override {
    ++offs;
    if (fail) throw Error(Fault::bench, "no answer");
  }
};

struct Rig {
  profile::Profile profile =
      profile::load_profile(pinproof::tests::source_dir() + "/profiles/six-speed-20-pin.json");
  double now = 0;
  double waited = 0;
  bench::Energising energising{[this](double s) { waited += s, now += s; }, [this] { return now; }};
  const profile::Part* coil(const char* name) { return profile.find_part(name); }
};

}  // namespace

TEST_CASE("a pulse or a current beyond the budget is refused by name") {
  Rig rig;  // coil A: at most 0.5 s and 1.3 A
  CHECK_THROWS_WITH_AS(rig.energising.prepare({rig.coil("A")}, Duration{0.51}, Current{1.0}),
                       doctest::Contains("coil A"), Error);
  CHECK_THROWS_AS(rig.energising.prepare({rig.coil("A")}, Duration{0}, Current{1.0}), Error);
  CHECK_THROWS_AS(rig.energising.prepare({rig.coil("A")}, Duration{NAN}, Current{1.0}), Error);
  CHECK_THROWS_AS(rig.energising.prepare({rig.coil("A")}, Duration{0.1}, Current{1.31}), Error);
  CHECK_THROWS_AS(rig.energising.prepare({rig.coil("A")}, Duration{0.1}, Current{NAN}), Error);
  CHECK_THROWS_AS(rig.energising.prepare({}, Duration{0.1}, Current{0.1}), Error);
  // A wire has limits of its own, and must be asked for as one.
  CHECK_NOTHROW(bench::Energising::prepare_conductor(Duration{0.1}, Current{1}));
  CHECK_THROWS_AS(bench::Energising::prepare_conductor(Duration{1}, Current{1}), Error);
  CHECK_THROWS_AS(bench::Energising::prepare_conductor(Duration{0.1}, Current{3}), Error);
  CHECK_THROWS_AS(bench::Energising::prepare_conductor(Duration{0.1}, Current{NAN}), Error);
  CHECK_NOTHROW(
      rig.energising.prepare({rig.coil("A"), rig.coil("B")}, Duration{0.5}, Current{2.6}));
}

TEST_CASE("a coil rests in proportion to its pulse before it is driven again") {
  Rig rig;  // rest 1 s after a full pulse of 0.5 s
  rig.energising.prepare({rig.coil("A")}, Duration{0.1}, Current{1.0});
  CHECK(rig.waited == 0);
  rig.energising.pulsed({rig.coil("A")}, Duration{0.1});
  rig.energising.prepare({rig.coil("B")}, Duration{0.1}, Current{1.0});
  CHECK(rig.waited == 0);  // another coil need not wait
  rig.energising.prepare({rig.coil("A")}, Duration{0.1}, Current{1.0});
  CHECK(rig.waited == doctest::Approx(0.2));
}

TEST_CASE("the estimated heat of a coil only falls at its own time constant") {
  Rig rig;
  // A full pulse, then its rest: another full pulse is allowed, but not before.
  rig.energising.pulsed({rig.coil("A")}, Duration{0.5});
  rig.energising.prepare({rig.coil("A")}, Duration{0.5}, Current{1.0});
  CHECK(rig.waited == doctest::Approx(1.0).epsilon(0.05));
  // Many short pulses without a pause in between add up: the last one has to wait.
  Rig busy;
  for (int i = 0; i < 9; ++i) busy.energising.pulsed({busy.coil("A")}, Duration{0.1});
  busy.energising.prepare({busy.coil("A")}, Duration{0.5}, Current{1.0});
  CHECK(busy.waited > 0.3);  // the proportional rest after the last alone would be 0.2
  CHECK(busy.waited < 1.2);
}

TEST_CASE("the output goes off however the scope ends") {
  FakeSupply supply;
  { const bench::OutputOff off(supply); }
  CHECK(supply.offs == 1);
  CHECK_THROWS_WITH(([&] {
                      const bench::OutputOff off(supply);
                      throw Error(Fault::timeout, "first");
                    }()),
                    "first");
  CHECK(supply.offs == 2);
  {
    bench::OutputOff off(supply);
    off.now();
    CHECK(supply.offs == 3);
  }
  CHECK(supply.offs == 3);  // once is enough
  supply.fail = true;
  bench::OutputOff off(supply);
  CHECK_THROWS_WITH_AS(off.now(), "no answer", Error);  // now() lets it be known
}
