#include <array>
#include <cmath>

#include "simulated/instruments.h"

namespace pinproof::simulated {
namespace {

constexpr double kCompliance_V = 8;
constexpr double kLine_s = 0.02;
constexpr double kResolution = 1e-6;  // of the range
constexpr double kNoise = 4e-6;       // of the range at one power-line cycle
constexpr const char* kOverload = "+9.90000000E+37";

// Test currents of a common bench meter; the ppm figures are invented for the demo.
constexpr std::array kOhmRanges{OhmRange{100, 1e-3, 100, 40},  OhmRange{1e3, 1e-3, 100, 10},
                                OhmRange{1e4, 1e-4, 100, 10},  OhmRange{1e5, 1e-5, 100, 10},
                                OhmRange{1e6, 5e-6, 100, 10},  OhmRange{1e7, 5e-7, 400, 10},
                                OhmRange{1e8, 5e-8, 8000, 100}};

class Meter final : public ScpiDevice {
 public:
  Meter(World& the_world, scpi::Dialect dialect)
      : ScpiDevice(the_world, std::move(dialect), "PINPROOF,SIMULATED METER,0,1") {
    std::uniform_real_distribution<double> share(
        -0.5, 0.5);  // of the accuracy: a meter well inside its specification
    gain_ = share(world().random());
    offset_ = share(world().random());
  }

 protected:
  std::optional<std::string> perform(const scpi::Call& call) override {
    if (call.operation == "read") return read();
    if (call.operation.starts_with("nplc")) {
      nplc_ = number(call, "nplc");
    } else if (call.operation == "ohm_2w" || call.operation == "ohm_4w") {
      configure(call);
    } else {
      function_ = call.operation;
    }
    return std::nullopt;
  }
  void reset() override { function_.clear(), nplc_ = 1; }

 private:
  void configure(const scpi::Call& call) {
    const double wanted = number(call, "range");
    for (const OhmRange& range : kOhmRanges) {
      if (!(wanted <= range.range)) continue;
      function_ = call.operation, range_ = range;
      return;
    }
    error(-222, "Data out of range");
  }

  std::optional<std::string> read() {
    world().advance(nplc_ * kLine_s);
    if (world().has_bench_fault("no-answer") && ++reads_ > 20) return std::nullopt;
    if (world().has_bench_fault("garbage") && ++reads_ > 20) return "OL?#*";
    if (function_ == "temperature")
      return scientific(world().ambient() + 0.15 * gain_ + world().gaussian(0.01));
    if (function_ == "volt") return scientific(world().volts() + world().gaussian(2e-6));
    if (function_.empty()) return error(-230, "Data corrupt or stale"), std::nullopt;
    const double most_V = std::min(kCompliance_V, range_.test_A * range_.range * kOver);
    const auto truth = world().ohms(function_ == "ohm_4w", range_.test_A, most_V);
    if (!truth) return kOverload;
    double shown = *truth * (1 + 1e-6 * range_.reading_ppm * gain_ +
                             world().bench_fault("meter-drift") / 100) +
                   1e-6 * range_.range_ppm * range_.range * offset_;
    shown += world().gaussian(kNoise * range_.range / std::sqrt(nplc_));
    const double step = kResolution * range_.range;
    return scientific(std::round(shown / step) * step);
  }

  std::string function_;
  OhmRange range_ = kOhmRanges[0];
  double nplc_ = 1;
  double gain_ = 0, offset_ = 0;
  int reads_ = 0;
};

}  // namespace

std::span<const OhmRange> ohm_ranges() { return kOhmRanges; }

std::unique_ptr<ScpiDevice> make_meter(World& world, scpi::Dialect dialect) {
  return std::make_unique<Meter>(world, std::move(dialect));
}

}  // namespace pinproof::simulated
