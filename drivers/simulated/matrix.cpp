#include "simulated/instruments.h"

namespace pinproof::simulated {
namespace {

constexpr double kRelay_s = 5e-3;

class Matrix final : public ScpiDevice {
 public:
  Matrix(World& the_world, scpi::Dialect dialect)
      : ScpiDevice(the_world, std::move(dialect), "PINPROOF,SIMULATED MATRIX,0,1") {}

 protected:
  std::optional<std::string> perform(const scpi::Call& call) override {
    if (call.operation == "open_all") {
      world().open_all();
      world().advance(kRelay_s);
      return std::nullopt;
    }
    std::string states;
    for (const std::string& channel : channels(call)) {
      if (!world().known_channel(channel)) return error(-222, "Data out of range"), std::nullopt;
      if (call.operation == "close") world().close(channel);
      if (call.operation == "open") world().open(channel);
      states += (states.empty() ? "" : ",") + std::string(world().is_closed(channel) ? "1" : "0");
    }
    if (call.operation == "closed?") return states;
    world().advance(kRelay_s);
    return std::nullopt;
  }
  void reset() override { world().open_all(); }
};

}  // namespace

std::unique_ptr<ScpiDevice> make_matrix(World& world, scpi::Dialect dialect) {
  return std::make_unique<Matrix>(world, std::move(dialect));
}

}  // namespace pinproof::simulated
