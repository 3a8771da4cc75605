#include "simulated/instruments.h"

namespace pinproof::simulated {
namespace {

class SimulatedSupply final : public ScpiDevice {
 public:
  SimulatedSupply(World& the_world, scpi::Dialect dialect)
      : ScpiDevice(the_world, std::move(dialect), "PINPROOF,SIMULATED SUPPLY,0,1") {}

 protected:
  std::optional<std::string> perform(const scpi::Call& call) override {
    World& w = world();
    if (call.operation == "voltage") set(number(call, "volts"), kMaxSupply_V, w.set_V);
    if (call.operation == "current") set(number(call, "amperes"), kMaxSupply_A, w.limit_A);
    if (call.operation == "pulse_width") set(number(call, "seconds"), 10, w.pulse_s);
    if (call.operation == "voltage?") return scientific(w.set_V);
    if (call.operation == "current?") return scientific(w.limit_A);
    if (call.operation == "pulse_width?") return scientific(w.pulse_s);
    if (call.operation == "pulse") w.pulse();
    if (call.operation == "output") w.switch_output(number(call, "switch") != 0);
    if (call.operation == "output?") return w.output() ? "1" : "0";
    if (call.operation == "measure_current") return scientific(w.supply_current());
    if (call.operation == "measure_voltage") return scientific(w.output() ? w.set_V : 0);
    if (call.operation == "measure_power")
      return scientific(w.output() ? w.set_V * w.supply_current() : 0);
    if (call.operation == "beeper?" || call.operation == "protection?") return "0";
    return std::nullopt;
  }
  void reset() override { world().switch_output(false), world().set_V = 0; }

 private:
  void set(double value, double most, double& where) {
    if (value >= 0 && value <= most)
      where = value;
    else
      error(-222, "Data out of range");
  }
};

}  // namespace

std::unique_ptr<ScpiDevice> make_supply(World& world, scpi::Dialect dialect) {
  return std::make_unique<SimulatedSupply>(world, std::move(dialect));
}

}  // namespace pinproof::simulated
