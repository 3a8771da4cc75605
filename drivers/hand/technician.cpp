#include "hand/technician.h"

#include <chrono>
#include <cmath>
#include <deque>
#include <utility>

#include "hand/actuator.h"
#include "hand/requests.h"
#include "hand/settling.h"
#include "quantity/error.h"
#include "quantity/text.h"

namespace pinproof::hand {
namespace {

constexpr double kPause_s = 0.002;  // between readings of a meter that answers at once
constexpr double kRefresh_s = 0.25;
constexpr double kFarOff = 0.2;  // a change of reading that can only be another pair

std::string shown_text(const bench::ShownOhms& shown) {
  return shown.overload ? "open" : format_si(shown.value.si(), Unit::ohm, 4);
}

// What the three ports share: who is touched, what was last accepted, and the keys.
class Technician {
 public:
  Technician(bench::Console& console, Wording wording, std::unique_ptr<bench::Meter> meter,
             const bench::Description& bench)
      : console_(console),
        requests_(console, bench.fixture.dwell_s / 2),
        wording_(std::move(wording)),
        meter_(std::move(meter)),
        kelvin_(bench.fixture.kelvin && meter_->can_four_wire()),
        settling_(bench.fixture.dwell_s),
        reaction_s_(bench.fixture.dwell_s / 2) {}

  bench::Meter& meter() { return *meter_; }
  bool kelvin() const { return kelvin_; }
  bench::Console& console() { return console_; }
  const Wording& wording() const { return wording_; }

  void touch(const bench::Connection& to, Resistance expected);
  void apart();
  bench::ShownOhms ohms(bool four_wire, Resistance range, const bench::Patience& patience);
  Temperature celsius(const bench::Patience& patience);
  /// The pack is about to be brought into another state, by whatever means: nothing that was seen
  /// so far says anything of it then.
  void moves();
  /// Waits until the technician has done something; throws Detour for skip and back.
  void confirm(const std::string& kind, const std::string& what, const bench::Patience& patience);

 private:
  void finish_last();
  void prompt();
  void obey(bench::KeyPress key, const bench::Patience& patience);
  bool lifted(const bench::ShownOhms& shown);
  bench::ShownOhms sample(bool four_wire, Resistance range, const bench::Patience& patience);
  bench::ShownOhms watch(bool four_wire, Resistance range, const bench::Patience& patience);
  bench::ShownOhms held(bool four_wire, Resistance range, const bench::Patience& patience);
  bench::ShownOhms accept(const bench::ShownOhms& shown);
  bench::Grip grip_of(const bench::ShownOhms& shown) const;
  void show(const bench::ShownOhms& shown);
  static double now_s() {
    return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch())
        .count();
  }

  bench::Console& console_;
  Requests requests_;
  Wording wording_;
  std::unique_ptr<bench::Meter> meter_;
  bool kelvin_;
  Settling settling_;
  double reaction_s_;  // nobody answers sooner: a key pressed then was meant for the pair before
  double prompted_at_s_ = 0;
  bench::Connection pair_;
  Resistance expected_{INFINITY};
  bool prompted_ = false, held_ = false, lifted_ = true, complained_ = false;
  bool kept_ = false;                     // the probes are still on the pair that is asked for
  bool stale_ = false;                    // the meter's next reading may be of the pack as it was
  std::optional<bench::ShownOhms> last_;  // accepted on this pair
  double rearm_ohm_ = NAN;                // accepted on the pair before, still under the probes
  std::deque<Resistance> spare_;          // samples of the dwell, for a step that wants several
  Resistance spare_range_;                // that was asked for when they were taken
  std::optional<bench::Grip> shown_grip_;
  double shown_at_s_ = 0;
  bench::ShownOhms spare_as_;  // as the meter showed the last of them
};

void Technician::finish_last() {
  if (!last_) return;
  console_.took({*last_, shown_text(*last_), bench::Grip::taken});
  rearm_ohm_ = last_->overload ? NAN : last_->value.si();
  lifted_ = last_->overload;
  last_.reset();
}

void Technician::touch(const bench::Connection& to, Resistance expected) {
  if (held_ && to == pair_ && last_) return;
  finish_last();
  // The same pair once more, in another state of the pack: the probes are still on.
  kept_ = (held_ || kept_) && to == pair_ && !to.high.empty();
  pair_ = to;
  expected_ = expected;
  prompted_ = held_ = complained_ = false;
  spare_.clear();
}

void Technician::apart() { touch({}, Resistance{INFINITY}); }

void Technician::moves() {
  finish_last();
  kept_ = kept_ || held_;
  prompted_ = held_ = complained_ = false;
  spare_.clear(), settling_.clear();
  stale_ = true;
}

void Technician::prompt() {
  if (prompted_) return;
  prompted_ = true;
  shown_grip_.reset();
  settling_.clear();
  console_.forget_keys();
  prompted_at_s_ = now_s();
  const bool kept = std::exchange(kept_, false);
  if (kept) lifted_ = true;
  bench::ProbePair pair;
  pair.expected = expected_;
  if (pair_.high.empty()) {
    pair.where = bench::ProbePair::Where::apart;
    return console_.touch(pair);
  }
  pair.red = pair_.high.front(), pair.black = pair_.low.front();
  pair.red_name = wording_.name(pair.red), pair.black_name = wording_.name(pair.black);
  pair.face = wording_.face(pair.red, pair.black);
  if (pair.red == pair.black)
    pair.where = bench::ProbePair::Where::together;
  else if (kept)
    pair.where = bench::ProbePair::Where::stay;
  console_.touch(pair);
}

void Technician::obey(bench::KeyPress key, const bench::Patience& patience) {
  requests_.leave(key, patience);
  if (key == bench::KeyPress::again) settling_.clear(), complained_ = false;
}

// The probes must have left the last pair before another reading is believed:
// an open, or a value that the last pair cannot have, in the noise of this range.
bool Technician::lifted(const bench::ShownOhms& shown) {
  if (!lifted_)
    lifted_ = shown.overload ||
              !(std::abs(shown.value.si() - rearm_ohm_) <=
                kFarOff * std::abs(rearm_ohm_) + Settling::band(rearm_ohm_, shown.range.si()));
  return lifted_;
}

bench::Grip Technician::grip_of(const bench::ShownOhms& shown) const {
  if (!lifted_) return bench::Grip::lift_first;
  if (shown.overload) return isfinite(expected_) ? bench::Grip::open : bench::Grip::open_expected;
  return settling_.settled() ? bench::Grip::unexpected : bench::Grip::moving;
}

// Digits that change fifty times a second cannot be read; a change of state can.
void Technician::show(const bench::ShownOhms& shown) {
  const bench::Grip grip = grip_of(shown);
  const double now = now_s();
  if (grip == shown_grip_ && now - shown_at_s_ < kRefresh_s) return;
  shown_grip_ = grip;
  shown_at_s_ = now;
  console_.held({shown, shown_text(shown), grip});
}

bench::ShownOhms Technician::accept(const bench::ShownOhms& shown) {
  held_ = true;
  last_ = shown;
  return shown;
}

// The first reading after the pack has changed may have begun before it did, and some instruments
// answer with the one before: it is thrown away.
bench::ShownOhms Technician::sample(bool four_wire, Resistance range,
                                    const bench::Patience& patience) {
  if (stale_) (void)meter_->ohms(four_wire, range, patience);
  stale_ = false;
  return meter_->ohms(four_wire, range, patience);
}

bench::ShownOhms Technician::watch(bool four_wire, Resistance range,
                                   const bench::Patience& patience) {
  bool wanted = false;  // by key
  while (true) {
    const bench::ShownOhms shown = sample(four_wire, range, patience);
    spare_as_ = shown;
    const bool free = lifted(shown);
    if (shown.overload || !free)
      settling_.clear(), complained_ = false;
    else
      settling_.add(now_s(), shown.value.si(), shown.range.si());
    const bool steady = !shown.overload && settling_.settled();
    if (shown.overload) wanted = false;
    if (steady && (wanted || plausible(settling_.mean(), expected_.si()))) break;
    if (steady && !complained_) complained_ = true, console_.beep();
    show(shown);
    const auto key = console_.key(Duration{kPause_s}, patience);
    if (!key) continue;
    // A take that comes so soon was a second press for the pair before.
    if (*key == bench::KeyPress::take && now_s() - prompted_at_s_ < reaction_s_) continue;
    if (*key == bench::KeyPress::take && shown.overload) return accept(shown);
    // As soon as it is steady. The key says as well that the probes were moved:
    // two pairs may read the same.
    if (*key == bench::KeyPress::take) lifted_ = wanted = true;
    obey(*key, patience);
  }
  for (const double ohm : settling_.samples()) spare_.emplace_back(ohm);
  spare_range_ = range;
  return held(four_wire, range, patience);
}

// A pair that has settled: the samples of the dwell first, then, in another
// range, fresh ones while the probes are still on.
bench::ShownOhms Technician::held(bool four_wire, Resistance range,
                                  const bench::Patience& patience) {
  if (!spare_.empty() && spare_range_ == range) {
    bench::ShownOhms out = spare_as_;
    out.value = spare_.front();
    spare_.pop_front();
    return accept(out);
  }
  spare_.clear();
  const bench::ShownOhms shown = sample(four_wire, range, patience);
  const bool let_go = last_ && !last_->overload && shown.overload == last_->overload &&
                      abs(shown.value - last_->value).si() >
                          3 * Settling::band(last_->value.si(), last_->range.si());
  const bool slipped = last_ && !last_->overload && shown.overload && range >= last_->range;
  if (!let_go && !slipped) return accept(shown);
  console_.say("The probes have moved: hold them on once more.");
  prompted_ = held_ = false;
  last_.reset();
  prompt();
  return watch(four_wire, range, patience);
}

bench::ShownOhms Technician::ohms(bool four_wire, Resistance range,
                                  const bench::Patience& patience) {
  prompt();
  if (held_) return held(four_wire, range, patience);
  return watch(four_wire, range, patience);
}

Temperature Technician::celsius(const bench::Patience& patience) {
  finish_last();
  while (true) {
    const std::string text =
        console_.ask("Temperature of the pack, by the thermometer beside it, in °C:", patience);
    const auto number = parse_number(text);
    if (number && *number > -40 && *number < 150) return Temperature::celsius(*number);
    console_.say("A number between -40 and 150 is wanted, for instance 22.5");
  }
}

void Technician::confirm(const std::string& kind, const std::string& what,
                         const bench::Patience& patience) {
  moves();
  requests_.confirm(kind, what, patience);
}

class HandMeter final : public bench::Meter {
 public:
  explicit HandMeter(std::shared_ptr<Technician> who) : who_(std::move(who)) {}
  std::string name() const override { return who_->meter().name() + ", probes by hand"; }
  bool can_four_wire() const override { return who_->kelvin(); }
  bool can_celsius() const override { return true; }
  bench::ShownOhms ohms(bool four_wire, Resistance range,
                        const bench::Patience& patience) override {
    return who_->ohms(four_wire, range, patience);
  }
  bench::ShownVolts volts(Voltage range, const bench::Patience& patience) override {
    return who_->meter().volts(range, patience);
  }
  bench::ShownCelsius celsius(const bench::Patience& patience) override {
    return {who_->celsius(patience), false, {}, "temperature"};
  }

 private:
  std::shared_ptr<Technician> who_;
};

class HandProbes final : public bench::Paths {
 public:
  explicit HandProbes(std::shared_ptr<Technician> who) : who_(std::move(who)) {}
  bool can_tie() const override { return false; }
  bool can_drive() const override { return false; }
  void connect_meter(const bench::Connection& to, bool, Resistance expected,
                     const bench::Patience&) override {
    who_->touch(to, expected);
  }
  void connect_drive(const bench::Connection&, const bench::Connection&,
                     const bench::Patience&) override {
    throw Error(Fault::bench, "coils are not driven through hand-held probes");
  }
  void open_all(const bench::Patience&) override { who_->apart(); }

 private:
  std::shared_ptr<Technician> who_;
};

// Whatever moves the lever and the air while the probes are held by hand: a machine does not ask
// the technician, who would go on with samples of the pack as it was. They go before the movement,
// since one that fails half-way has moved the pack as well; meanwhile nobody measures.
class WatchedActuator final : public bench::Actuator {
 public:
  WatchedActuator(std::shared_ptr<Technician> who, std::unique_ptr<bench::Actuator> actuator)
      : who_(std::move(who)), actuator_(std::move(actuator)) {}
  void lever(std::size_t position, const std::string& name,
             const bench::Patience& patience) override {
    who_->moves();
    actuator_->lever(position, name, patience);
  }
  void air(const std::vector<std::string>& elements, Pressure pressure,
           const bench::Patience& patience) override {
    who_->moves();
    actuator_->air(elements, pressure, patience);
  }
  std::optional<Pressure> measured(const bench::Patience& patience) override {
    return actuator_->measured(patience);
  }
  bool by_hand() const override { return actuator_->by_hand(); }

 private:
  std::shared_ptr<Technician> who_;
  std::unique_ptr<bench::Actuator> actuator_;
};

class HandPerson final : public bench::Person {
 public:
  explicit HandPerson(std::shared_ptr<Technician> who) : who_(std::move(who)) {}
  void please(const std::string& kind, const std::string& what,
              const bench::Patience& patience) override {
    who_->confirm(kind, what, patience);
  }

 private:
  std::shared_ptr<Technician> who_;
};

}  // namespace

void install(const bench::Description& bench, bench::Console& console, Wording wording,
             bench::Instruments& instruments) {
  if (!instruments.meter)
    throw Error(Fault::usage, "bench \"" + bench.name + "\": probes by hand need a meter");
  const auto who = std::make_shared<Technician>(console, std::move(wording),
                                                std::move(instruments.meter), bench);
  instruments.meter = std::make_unique<HandMeter>(who);
  instruments.paths = std::make_unique<HandProbes>(who);
  instruments.person = std::make_unique<HandPerson>(who);
  if (const auto* actuator = bench.find("actuator"); actuator && actuator->driver == "hand")
    instruments.actuator = hand::actuator(
        console, [who](const std::string& kind, const std::string& what,
                       const bench::Patience& patience) { who->confirm(kind, what, patience); });
  if (instruments.actuator)
    instruments.actuator = std::make_unique<WatchedActuator>(who, std::move(instruments.actuator));
}

}  // namespace pinproof::hand
