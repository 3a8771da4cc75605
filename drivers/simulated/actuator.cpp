#include "simulated/instruments.h"

namespace pinproof::simulated {
namespace {

constexpr double kMost_Pa = 8e5;  // of workshop air

class SimulatedActuator final : public ScpiDevice {
 public:
  SimulatedActuator(World& the_world, scpi::Dialect dialect)
      : ScpiDevice(the_world, std::move(dialect), "PINPROOF,SIMULATED ACTUATOR,0,1") {}

 protected:
  std::optional<std::string> perform(const scpi::Call& call) override {
    if (call.operation == "pressure") return set_pressure(number(call, "pascals"));
    if (call.operation == "pressure?") return scientific(pascal_);
    if (call.operation == "measure_pressure")
      return scientific(open_.empty() ? 0 : pascal_ * (1 + world().gaussian(0.002)));
    if (call.operation == "position") return move(number(call, "count"));
    if (call.operation == "position?") return std::to_string(position_);
    // What a person does to a simulated pack.
    if (call.operation == "plug") return world().plug(number(call, "count") != 0), std::nullopt;
    if (call.operation == "soak") return world().soak(number(call, "count") != 0), std::nullopt;
    if (call.operation == "shut_all_valves") open_.clear();
    if (call.operation == "open_valve" || call.operation == "shut_valve") {
      for (const std::string& valve : channels(call)) {
        bool known = false;
        for (std::size_t i = 1; i <= world().elements().size(); ++i)
          known = known || valve == std::to_string(i);
        if (!known) return error(-222, "Data out of range"), std::nullopt;
        if (call.operation == "open_valve")
          open_.insert(valve);
        else
          open_.erase(valve);
      }
    }
    world().valves(open_, pascal_);
    return std::nullopt;
  }

 private:
  std::optional<std::string> set_pressure(double pascal) {
    if (!(pascal >= 0 && pascal <= kMost_Pa)) return error(-222, "Data out of range"), std::nullopt;
    pascal_ = pascal;
    world().valves(open_, pascal_);
    return std::nullopt;
  }

  std::optional<std::string> move(double position) {
    const std::size_t positions =
        world().profile().lever ? world().profile().lever->positions.size() : 0;
    if (!(position >= 0 && position < static_cast<double>(positions)))
      return error(-222, "Data out of range"), std::nullopt;
    position_ = static_cast<std::size_t>(position);
    world().lever(position_);
    return std::nullopt;
  }

  std::set<std::string> open_;
  double pascal_ = 0;
  std::size_t position_ = 0;
};

}  // namespace

std::unique_ptr<ScpiDevice> make_actuator(World& world, scpi::Dialect dialect) {
  return std::make_unique<SimulatedActuator>(world, std::move(dialect));
}

}  // namespace pinproof::simulated
