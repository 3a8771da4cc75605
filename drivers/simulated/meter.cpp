#include <array>
#include <cmath>

#include "simulated/instruments.h"

namespace pinproof::simulated {
namespace {

constexpr double kCompliance_V = 8;
constexpr double kLine_s = 0.02;
constexpr double kResolution = 1e-6;  // of the range
constexpr double kNoise = 4e-6;       // of the range at one power-line cycle
constexpr double kVoltRange_V = 10;

// Test currents of a common bench meter; the ppm figures are invented for the demo.
constexpr std::array kOhmRanges{OhmRange{100, 1e-3, 100, 40},  OhmRange{1e3, 1e-3, 100, 10},
                                OhmRange{1e4, 1e-4, 100, 10},  OhmRange{1e5, 1e-5, 100, 10},
                                OhmRange{1e6, 5e-6, 100, 10},  OhmRange{1e7, 5e-7, 400, 10},
                                OhmRange{1e8, 5e-8, 8000, 100}};

bool starts(const scpi::Call& call, std::string_view word) {
  return call.operation.starts_with(word);
}

class SimulatedMeter final : public ScpiDevice {
 public:
  SimulatedMeter(World& the_world, scpi::Dialect dialect)
      : ScpiDevice(the_world, std::move(dialect), "PINPROOF,SIMULATED METER,0,1") {
    // Of the accuracy: a meter well inside its specification.
    std::uniform_real_distribution<double> share(-0.5, 0.5);
    gain_ = share(world().random());
    offset_ = share(world().random());
  }

 protected:
  std::optional<std::string> perform(const scpi::Call& call) override {
    if (call.operation == "read") return read();
    if (call.operation == "fetch") return last_;
    if (call.operation == "trigger") return last_ = read(), std::nullopt;
    if (call.operation == "configuration?") return "\"" + configuration() + "\"";
    if (call.operation == "function?") return "\"" + word() + "\"";
    if (starts(call, "nplc")) nplc_ = number(call, "nplc");
    if (starts(call, "measure_")) {
      configure(call, call.operation.substr(std::string_view("measure_").size()));
      return read();
    }
    if (starts(call, "range_")) {
      set_range(optional_number(call, "range"));
    } else if (starts(call, "ohm_") || call.operation == "volt" ||
               call.operation == "temperature") {
      configure(call, call.operation);
    }
    return std::nullopt;
  }
  void reset() override { function_.clear(), nplc_ = 1, range_.reset(), last_.reset(); }

 private:
  void configure(const scpi::Call& call, const std::string& function) {
    function_ = function;
    set_range(optional_number(call, "range"));
  }

  // Without a wanted range the instrument takes the smallest that will do.
  void set_range(std::optional<double> wanted) {
    range_.reset();
    if (!wanted || !function_.starts_with("ohm")) return;
    for (const OhmRange& range : kOhmRanges)
      if (!range_ && *wanted <= range.range) range_ = range;
    if (!range_) error(-222, "Data out of range");
  }

  std::string word() const {
    if (function_ == "ohm_4w") return "FRES";
    if (function_ == "temperature") return "TEMP";
    return function_ == "ohm_2w" ? "RES" : "VOLT";
  }

  std::string configuration() const {
    const double range = range_ ? range_->range : function_ == "volt" ? kVoltRange_V : 100;
    return word() + " " + scientific(range) + "," + scientific(kResolution * range);
  }

  std::string overload() const {
    const double at = dialect().numbers().overload_at;
    return scientific(at >= 9e37 ? 9.9e37 : at);
  }

  std::optional<std::string> read() {
    world().advance(nplc_ * kLine_s);
    world().count_reading();
    if (world().has_bench_fault("no-answer")) return std::nullopt;
    if (world().has_bench_fault("garbage")) return "OL?#*";
    if (world().has_bench_fault("stuck-reading") && before_) return before_;
    auto shown = seen();
    std::bernoulli_distribution late(world().bench_fault("stale-reading") / 100);
    const bool stale =
        before_ && world().has_bench_fault("stale-reading") && late(world().random());
    std::swap(shown, before_);
    return stale ? shown : before_;
  }

  std::optional<std::string> seen() {
    if (function_ == "temperature")
      return scientific(world().ambient() + 0.15 * gain_ + world().gaussian(0.01));
    if (function_ == "volt") return scientific(world().volts() + world().gaussian(2e-6));
    if (function_.empty()) return error(-230, "Data corrupt or stale"), std::nullopt;
    if (world().has_bench_fault("overload")) return overload();
    if (range_) return ohms(*range_).value_or(overload());
    for (const OhmRange& range : kOhmRanges)
      if (auto shown = ohms(range)) return shown;
    return overload();
  }

  // A range that does not switch over is not one that was asked for.
  const OhmRange& really(const OhmRange& asked) {
    const double stuck = world().bench_fault("range-stuck");
    if (stuck == 0) return asked;
    for (const OhmRange& range : kOhmRanges)
      if (stuck <= range.range) return range;
    return kOhmRanges.back();
  }

  double gain_error(const OhmRange& range) {
    return 1e-6 * range.reading_ppm * gain_ + world().bench_fault("meter-drift") / 100 +
           (range.range == kOhmRanges.front().range ? world().bench_fault("range-drift") / 100 : 0);
  }

  // A whole power-line cycle averages hum away but for what the line's own drift leaves.
  double hum_ohm(const OhmRange& range) {
    constexpr double kLeft = 1e-3;
    return world().gaussian(kLeft * world().bench_fault("hum") / range.test_A);
  }

  std::optional<std::string> ohms(const OhmRange& asked) {
    const OhmRange& range = really(asked);
    const double most_V = std::min(kCompliance_V, range.test_A * range.range * kOver);
    const auto truth = world().ohms(function_ == "ohm_4w", range.test_A, most_V);
    if (!truth) return std::nullopt;
    double shown =
        *truth * (1 + gain_error(range)) + 1e-6 * range.range_ppm * range.range * offset_;
    shown += world().gaussian(kNoise * range.range / std::sqrt(nplc_));
    if (world().has_bench_fault("hum")) shown += hum_ohm(range);
    const double step = kResolution * range.range;
    return scientific(std::round(shown / step) * step);
  }

  std::string function_;
  std::optional<OhmRange> range_;
  std::optional<std::string> last_;
  double nplc_ = 1;
  double gain_ = 0, offset_ = 0;
  std::optional<std::string> before_;  // what was shown last
};

}  // namespace

std::span<const OhmRange> ohm_ranges() { return kOhmRanges; }

std::unique_ptr<ScpiDevice> make_meter(World& world, scpi::Dialect dialect) {
  return std::make_unique<SimulatedMeter>(world, std::move(dialect));
}

}  // namespace pinproof::simulated
