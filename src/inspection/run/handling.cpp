#include "inspection/run/handling.h"

#include "quantity/error.h"

namespace pinproof::inspection {

Handling::Handling(const RunOptions& options)
    : options_(options), measure_(options), energising_(options.wait, options.now_s) {}

record::Condition Handling::reach(const network::PackState& state) {
  record::Condition condition = condition_of(*options_.profile, state);
  bench::Actuator* actuator = options_.instruments->actuator.get();
  const bench::Patience patience(Duration{30}, options_.stop);
  if (actuator && state.lever && state.lever != lever_) {
    hands_near_ = hands_near_ || actuator->by_hand();
    lever_.reset();  // who goes back at this request may have moved it already
    actuator->lever(*state.lever, condition.lever, patience);
    lever_ = state.lever;
  }
  if (actuator && (!air_known_ || state.applied != air_)) {
    air_known_ = false;
    hands_near_ = hands_near_ || actuator->by_hand();
    actuator->air(state.applied, Pressure{condition.pressure_Pa}, patience);
    air_ = state.applied;
    air_known_ = true;
  }
  return condition;
}

record::Condition Handling::reach(const network::Situation& situation) {
  if (options_.profile->harness_pins > 0) plug(situation.plugged);
  warm(situation.hot);
  record::Condition condition = reach(situation.state);
  condition.plugged = situation.plugged, condition.hot = situation.hot;
  return condition;
}

record::PulseCapture Handling::drive(const record::Key& key, const DriveStep& step,
                                     const record::Condition& condition) {
  stand_clear();
  return measure_.drive(key, step, condition, energising_);
}

void Handling::stand_clear() {
  if (!hands_near_) return;
  ask("driven coils",
      "CAUTION: coils are driven next: they get hot, plungers move and throw oil.\n"
      "Take your hands off the pack and its leads, and keep clear until you are asked again.");
  hands_near_ = false;
}

void Handling::ask(const char* kind, const std::string& what) {
  if (!options_.instruments->person)
    throw Error(Fault::bench, std::string("nobody is at the bench for its ") + kind);
  hands_near_ = true;
  options_.instruments->person->please(kind, what, bench::Patience(Duration{3600}, options_.stop));
}

void Handling::plug(bool plugged) {
  if (plugged_ == plugged) return;
  plugged_.reset();
  ask("plugging",
      plugged ? "Plug the harness into the pack, the controller stays off."
              : "Unplug the harness: its plug off the pack, its other end off the controller.");
  plugged_ = plugged;
}

void Handling::warm(bool hot) {
  if (hot_ == hot) return;
  hot_.reset();
  ask("heat soaks",
      hot ? "CAUTION: a hot pack and hot oil burn, and a flame or a heat gun sets oil on fire.\n"
            "Warm the pack through in an oven or a bath, no warmer than its maker's service\n"
            "information allows (80 °C is enough), and keep it warm."
          : "Let the pack cool down to the temperature that it had before.");
  hot_ = hot;
}

void Handling::assume_pulsed(const record::Record& record) {
  for (const profile::Part& part : options_.profile->parts)
    if (part.coil()) energising_.pulsed({&part}, Duration{part.coil()->energy.max_pulse_s});
  for (const record::Event& event : record.events) {
    const auto* capture = std::get_if<record::PulseCapture>(&event);
    if (!capture) continue;
    std::vector<const profile::Part*> coils;
    for (const std::string& name : capture->coils)
      if (const auto* part = options_.profile->find_part(name); part && part->coil())
        coils.push_back(part);
    energising_.pulsed(coils, Duration{capture->pulse_s});
  }
}

void Handling::make_safe() {
  const bench::Patience patience(Duration{5});
  std::optional<Error> first;
  const auto attempt = [&](auto&& action) {
    try {
      action();
    } catch (const Error& e) {
      if (!first) first = e;
    } catch (const bench::Detour&) {  // a person in a hurry: told, and not waited for
    }
  };
  auto& instruments = *options_.instruments;
  if (instruments.supply) attempt([&] { instruments.supply->off(); });
  if (instruments.actuator) attempt([&] { instruments.actuator->air({}, Pressure{0}, patience); });
  if (instruments.paths) attempt([&] { instruments.paths->open_all(patience); });
  if (first) throw *first;
}

std::string Handling::make_safe_after_trouble() {
  try {
    make_safe();
  } catch (const Error& e) {
    return std::string("; and the bench could not be made safe: ") + e.what() +
           ". SWITCH THE SUPPLY OFF BY HAND";
  }
  return "";
}

}  // namespace pinproof::inspection
