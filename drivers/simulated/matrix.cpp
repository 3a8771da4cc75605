#include "simulated/instruments.h"

namespace pinproof::simulated {
namespace {

constexpr double kRelay_s = 5e-3;

class SimulatedMatrix final : public ScpiDevice {
 public:
  SimulatedMatrix(World& the_world, scpi::Dialect a_dialect)
      : ScpiDevice(the_world, std::move(a_dialect), "PINPROOF,SIMULATED MATRIX,0,1") {
    for (std::size_t row = 1; row <= World::kRowCount; ++row)
      for (std::size_t column = 1; column <= world().columns(); ++column)
        crosspoints_[dialect().channel(row_name(dialect(), row), std::to_string(column))] =
            World::crosspoint(row, column);
  }

 protected:
  std::optional<std::string> perform(const scpi::Call& call) override {
    if (call.operation == "open_all") {
      world().open_all();
      world().advance(kRelay_s);
      return std::nullopt;
    }
    std::string states;
    for (const std::string& channel : channels(call)) {
      const auto it = crosspoints_.find(channel);
      if (it == crosspoints_.end()) return error(-222, "Data out of range"), std::nullopt;
      if (call.operation == "close") world().close(it->second);
      if (call.operation == "open") world().open(it->second);
      states +=
          (states.empty() ? "" : ",") + std::string(world().is_closed(it->second) ? "1" : "0");
    }
    if (call.operation == "closed?") return states;
    world().advance(kRelay_s);
    return std::nullopt;
  }
  void reset() override { world().open_all(); }

 private:
  std::map<std::string, std::string> crosspoints_;  // as the dialect spells it -> "row!column"
};

}  // namespace

// Relays that are counted through need room for every column between two rows.
std::string row_name(const scpi::Dialect& dialect, std::size_t row) {
  const bool counted = dialect.channel("1", "1") == "2";
  return std::to_string(counted ? (row - 1) * kRelaysPerRow : row);
}

std::unique_ptr<ScpiDevice> make_matrix(World& world, scpi::Dialect dialect) {
  return std::make_unique<SimulatedMatrix>(world, std::move(dialect));
}

}  // namespace pinproof::simulated
