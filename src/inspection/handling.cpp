#include "inspection/handling.h"

#include "quantity/error.h"

namespace pinproof::inspection {

Handling::Handling(const RunOptions& options)
    : options_(options), measure_(options), energising_(options.wait, options.now_s) {}

record::Condition Handling::reach(const network::State& state) {
  record::Condition condition = condition_of(*options_.profile, state);
  bench::Actuator* actuator = options_.instruments->actuator.get();
  const bench::Patience patience(Duration{30}, options_.stop);
  if (actuator && state.lever && state.lever != lever_) {
    actuator->lever(*state.lever, condition.lever, patience);
    lever_ = state.lever;
  }
  if (actuator && (!air_known_ || state.applied != air_)) {
    air_known_ = false;
    actuator->air(state.applied, Pressure{condition.pressure_Pa}, patience);
    air_ = state.applied;
    air_known_ = true;
  }
  return condition;
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
