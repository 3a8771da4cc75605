#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <cstdint>

#include "simulated/instruments.h"

namespace pinproof::simulated {
namespace {

constexpr std::array kRanges{0.05, 0.1, 0.2, 0.5, 2.0, 5.0, 20.0, 50.0};
constexpr double kSteps = 8192;  // 14 bits, both signs
constexpr double kNoise = 2e-4;  // of the range, standard deviation of a sample
constexpr double kFinest_s = 2e-6;

class Digitiser final : public ScpiDevice {
 public:
  Digitiser(World& the_world, scpi::Dialect dialect)
      : ScpiDevice(the_world, std::move(dialect), "PINPROOF,SIMULATED DIGITISER,0,1") {
    std::uniform_real_distribution<double> share(-0.5, 0.5);
    for (const char* channel : {"101", "102", "103"})
      gain_[channel] = share(world().random()), offset_[channel] = share(world().random());
  }

 protected:
  std::optional<std::string> perform(const scpi::Call& call) override {
    SweepSettings& sweep = world().sweep;
    if (call.operation == "points")
      set(number(call, "count"), 1, 1e6,
          [&](double v) { sweep.points = static_cast<std::size_t>(v); });
    if (call.operation == "interval")
      set(number(call, "seconds"), kFinest_s, 1, [&](double v) { sweep.interval_s = v; });
    if (call.operation == "interval?") return scientific(sweep.interval_s);
    if (call.operation == "pretrigger")
      set(-number(call, "count"), 0, 1e6,
          [&](double v) { sweep.pretrigger = static_cast<std::size_t>(v); });
    if (call.operation == "range") set_range(call);
    if (call.operation == "arm") sweep.armed = true, fresh_ = true;
    if (call.operation == "abort") sweep.armed = false;
    if (call.operation == "fetch") return fetch(call);
    return std::nullopt;
  }

 private:
  template <class Take>
  void set(double value, double least, double most, Take take) {
    if (value >= least && value <= most)
      take(value);
    else
      error(-222, "Data out of range");
  }

  void set_range(const scpi::Call& call) {
    const auto it = std::find_if(kRanges.begin(), kRanges.end(),
                                 [&](double r) { return r >= number(call, "range"); });
    for (const std::string& channel : channels(call)) {
      if (it == kRanges.end() || !gain_.contains(channel)) return error(-222, "Data out of range");
      world().sweep.range_V[channel] = *it;
    }
  }

  std::optional<std::string> fetch(const scpi::Call& call) {
    const std::string& channel = channels(call).front();
    const auto* samples = world().channel(channel);
    if (!samples || !fresh_ || world().sweep.armed)
      return error(-230, "Data corrupt or stale"), std::nullopt;
    const auto it = world().sweep.range_V.find(channel);
    const double range = it == world().sweep.range_V.end() ? kRanges.back() : it->second;
    std::string bytes;
    bytes.reserve(samples->size() * 4);
    for (const double v : *samples) append(bytes, convert(v, range, channel));
    std::string count = std::to_string(bytes.size());
    return "#" + std::to_string(count.size()) + count + bytes;
  }

  float convert(double volt, double range, const std::string& channel) {
    double v = volt * (1 + 1e-6 * kDigitiserReading_ppm * gain_[channel]) +
               1e-6 * kDigitiserRange_ppm * range * offset_[channel];
    v += world().gaussian(kNoise * range);
    v = std::clamp(std::round(v / range * kSteps), -kSteps, kSteps - 1) / kSteps * range;
    return static_cast<float>(v);
  }

  // IEEE 488.2: most significant byte first.
  static void append(std::string& bytes, float value) {
    const auto bits = std::bit_cast<std::uint32_t>(value);
    for (const int shift : {24, 16, 8, 0}) bytes += static_cast<char>((bits >> shift) & 0xff);
  }

  std::map<std::string, double> gain_, offset_;
  bool fresh_ = false;
};

}  // namespace

std::span<const double> digitiser_ranges() { return kRanges; }

std::unique_ptr<ScpiDevice> make_digitiser(World& world, scpi::Dialect dialect) {
  return std::make_unique<Digitiser>(world, std::move(dialect));
}

}  // namespace pinproof::simulated
