// Probes held by hand while something else moves the lever or the air: what was read of the pack
// as it was never stands for the pack as it is.
#include <doctest/doctest.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <memory>
#include <thread>
#include <utility>

#include "hand/technician.h"
#include "quantity/error.h"

using namespace pinproof;

namespace {

constexpr double kClosed_ohm = 0.3, kRange_ohm = 10, kLimit_ohm = 5;

void sleep_s(double seconds) {
  std::this_thread::sleep_for(std::chrono::duration<double>(seconds));
}

// One contact, closed while the lever is in position 0 and there is no air.
struct Pack {
  std::size_t lever = 0;
  bool air = false;
  bool closes_later = false;  // the other way round
  bool closed() const { return (lever == 0 && !air) != closes_later; }
};

class Meter final : public bench::Meter {
 public:
  Meter(Pack& pack, bool late) : pack_(pack), late_(late), before_(pack.closed()) {}
  std::string name() const override { return "meter"; }
  bool can_four_wire() const override { return false; }
  bool can_celsius() const override { return false; }
  bench::ShownOhms ohms(bool, Resistance range, const bench::Patience&) override {
    if (late_) sleep_s(0.02);
    const bool now = pack_.closed();
    const bool closed = late_ ? std::exchange(before_, now) : now;
    return {Resistance{closed ? kClosed_ohm : std::nan("")}, !closed, range, "ohm-2w"};
  }
  bench::ShownVolts volts(Voltage, const bench::Patience&) override { return {}; }
  bench::ShownCelsius celsius(const bench::Patience&) override { return {}; }

 private:
  Pack& pack_;
  bool late_;  // slow, and answers with the reading before
  bool before_;
};

// A machine: asks nobody.
class Machine final : public bench::Actuator {
 public:
  explicit Machine(Pack& pack) : pack_(pack) {}
  void lever(std::size_t position, const std::string&, const bench::Patience&) override {
    pack_.lever = position;
    if (fails_) throw Error(Fault::timeout, "no answer");
  }
  void air(const std::vector<std::string>& elements, Pressure, const bench::Patience&) override {
    pack_.air = !elements.empty();
  }
  std::optional<Pressure> measured(const bench::Patience&) override { return Pressure{1e5}; }
  void fail() { fails_ = true; }

 private:
  Pack& pack_;
  bool fails_ = false;
};

// A technician who holds on, presses the key for an open, and does what is asked for.
class Hands final : public bench::Console {
 public:
  explicit Hands(Pack& pack) : pack_(pack) {}
  void held(const bench::ProbesHeld& held) override {
    press_ = held.grip == bench::Grip::open || held.grip == bench::Grip::open_expected;
  }
  void task(const bench::HandTask& task) override {
    press_ = true;
    say(task.what);
  }
  void say(const std::string& text) override {
    if (text.find("Apply ") != std::string::npos) pack_.air = true;
    if (text.starts_with("Shut the air off")) pack_.air = false;
  }
  void live(const std::string&) override {}
  void beep() override {}
  void forget_keys() override {}
  std::optional<bench::KeyPress> key(Duration wait, const bench::Patience&) override {
    sleep_s(std::min(wait.si(), 0.002));
    return press_ ? std::optional(bench::KeyPress::take) : std::nullopt;
  }
  std::string ask(const std::string&, const bench::Patience&) override { return "never"; }

 private:
  Pack& pack_;
  bool press_ = false;
};

struct Bench {
  explicit Bench(const std::string& actuator_driver, bool late = false, bool closes_later = false)
      : hands(pack) {
    pack.closes_later = closes_later;
    bench::Description description;
    description.fixture.dwell_s = 0.01;
    description.instruments.resize(1);
    description.instruments.front().role = "actuator";
    description.instruments.front().driver = actuator_driver;
    instruments.meter = std::make_unique<Meter>(pack, late);
    if (actuator_driver != "hand") {
      auto one = std::make_unique<Machine>(pack);
      machine = one.get();
      instruments.actuator = std::move(one);
    }
    hand::Wording wording{[](const std::string& node) { return node; },
                          [](const std::string&, const std::string&) { return std::string(); }};
    hand::install(description, hands, std::move(wording), instruments);
  }

  /// The pair that is always the same, as a reading of the lever's table takes it.
  bool reads_closed() {
    instruments.paths->connect_meter({{"5"}, {"case"}}, false, Resistance{kLimit_ohm}, patience);
    const auto shown = instruments.meter->ohms(false, Resistance{kRange_ohm}, patience);
    return !shown.overload;
  }

  Pack pack;
  Hands hands;
  bench::Instruments instruments;
  Machine* machine = nullptr;
  const bench::Patience patience{Duration{5}};
};

}  // namespace

TEST_CASE("samples from before a machine moved the lever do not serve after it") {
  Bench b("scpi");
  CHECK(b.reads_closed());
  b.instruments.actuator->lever(1, "R", b.patience);
  CHECK_FALSE(b.reads_closed());
  b.instruments.actuator->lever(0, "P", b.patience);
  CHECK(b.reads_closed());
}

TEST_CASE("nor those from before a machine applied or let off the air") {
  Bench b("scpi");
  CHECK(b.reads_closed());
  b.instruments.actuator->air({"E1"}, Pressure{4e5}, b.patience);
  CHECK_FALSE(b.reads_closed());
  b.instruments.actuator->air({}, Pressure{0}, b.patience);
  CHECK(b.reads_closed());
}

TEST_CASE("nor where the movement failed half-way") {
  Bench b("scpi");
  CHECK(b.reads_closed());
  b.machine->fail();
  CHECK_THROWS_AS(b.instruments.actuator->lever(1, "R", b.patience), Error);
  CHECK_FALSE(b.reads_closed());
}

TEST_CASE("nor where the probes are not asked for once more") {
  Bench b("scpi");
  CHECK(b.reads_closed());
  b.instruments.actuator->lever(1, "R", b.patience);
  CHECK(b.instruments.meter->ohms(false, Resistance{kRange_ohm}, b.patience).overload);
}

TEST_CASE("a reading that began before the movement ended does not serve") {
  // Open first, and taken by key at once: the late meter still says so after the movement.
  Bench b("scpi", true, true);
  CHECK_FALSE(b.reads_closed());
  b.instruments.actuator->lever(1, "R", b.patience);
  CHECK(b.reads_closed());
}

TEST_CASE("without a movement the samples of the dwell serve, one after another") {
  Bench b("scpi");
  CHECK(b.reads_closed());
  b.pack.lever = 1;  // behind everybody's back
  CHECK(b.reads_closed());
}

TEST_CASE("air that is let off by hand without waiting is a movement as well") {
  Bench b("hand", false, true);
  b.instruments.actuator->air({"E1"}, Pressure{4e5}, b.patience);
  CHECK(b.reads_closed());
  b.instruments.actuator->air({}, Pressure{0}, b.patience);  // on the way out: told, no key
  CHECK_FALSE(b.reads_closed());
}

TEST_CASE("the actuator is otherwise what it was") {
  Bench machine("scpi"), person("hand");
  CHECK_FALSE(machine.instruments.actuator->by_hand());
  CHECK(machine.instruments.actuator->measured(machine.patience)->si() == 1e5);
  CHECK(person.instruments.actuator->by_hand());
  CHECK_FALSE(person.instruments.actuator->measured(person.patience).has_value());
}
