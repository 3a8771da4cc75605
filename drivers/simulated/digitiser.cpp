// Samples of the last pulse, in the words of a sweeping digitiser or of a scope.
#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <cstdint>
#include <numbers>

#include "simulated/instruments.h"

namespace pinproof::simulated {
namespace {

constexpr std::array kRanges{0.05, 0.1, 0.2, 0.5, 2.0, 5.0, 20.0, 50.0};
constexpr double kSteps = 8192;  // 14 bits, both signs
constexpr double kNoise = 2e-4;  // of the range, standard deviation of a sample
constexpr double kFinest_s = 2e-6;
constexpr double kByteSteps = 128;  // a scope's 8 bits, both signs
constexpr double kMostPoints = 1e6;
constexpr double kPickedUpByShunt = 0.02;  // of what an open lead picks up: it is a tenth of an ohm

class SimulatedDigitiser final : public ScpiDevice {
 public:
  SimulatedDigitiser(World& the_world, scpi::Dialect a_dialect)
      : ScpiDevice(the_world, std::move(a_dialect), "PINPROOF,SIMULATED DIGITISER,0,1"),
        scope_(dialect().has("waveform")) {
    std::uniform_real_distribution<double> share(-0.5, 0.5);
    for (const char* channel : {"101", "102", "103"})
      gain_[channel] = share(world().random()), offset_[channel] = share(world().random());
  }

 protected:
  std::optional<std::string> perform(const scpi::Call& call) override {
    SweepSettings& sweep = world().sweep;
    if (call.operation == "points")
      set(number(call, "count"), 1, kMostPoints,
          [&](double v) { sweep.points = static_cast<std::size_t>(v); });
    if (call.operation == "arm") sweep.armed = true, fresh_ = true;
    if (call.operation == "abort") sweep.armed = false;
    return scope_ ? perform_scope(call) : perform_sweep(call);
  }

 private:
  std::optional<std::string> perform_sweep(const scpi::Call& call) {
    SweepSettings& sweep = world().sweep;
    if (call.operation == "interval")
      set(number(call, "seconds"), kFinest_s, 1, [&](double v) { sweep.interval_s = v; });
    if (call.operation == "interval?") return scientific(sweep.interval_s);
    if (call.operation == "pretrigger")
      set(-number(call, "count"), 0, kMostPoints,
          [&](double v) { sweep.pretrigger = static_cast<std::size_t>(v); });
    if (call.operation == "range")
      for (const std::string& channel : channels(call)) set_range(channel, number(call, "range"));
    if (call.operation == "fetch") return fetch(channels(call).front());
    return std::nullopt;
  }

  // Points, then the time over the screen, then the trigger's place in it.
  std::optional<std::string> perform_scope(const scpi::Call& call) {
    SweepSettings& sweep = world().sweep;
    const auto points = static_cast<double>(sweep.points);
    if (call.operation == "time_range")
      set(number(call, "seconds") / points, kFinest_s, 1, [&](double v) { sweep.interval_s = v; });
    if (call.operation == "time_position")
      set(std::round(points / 2 - number(call, "seconds") / sweep.interval_s), 0, kMostPoints,
          [&](double v) { sweep.pretrigger = static_cast<std::size_t>(v); });
    if (call.operation == "range")
      set_range(scope_channel(number(call, "channel")), number(call, "range") / 2);
    if (call.operation == "sweep_state?")
      return sweep.armed || !fresh_ ? "WAIT" : dialect().sweep_done();
    if (call.operation == "waveform_source") select(argument<std::string>(call, "word"));
    if (call.operation == "preamble?") return preamble();
    if (call.operation == "waveform") return fetch(source_);
    return std::nullopt;
  }

  static std::string scope_channel(double n) { return std::to_string(100 + static_cast<int>(n)); }

  void select(const std::string& word) {
    const auto digit = word.find_first_of("0123456789");
    const std::string name = digit == std::string::npos ? "" : "10" + word.substr(digit);
    if (!gain_.contains(name)) return error(-224, "Illegal parameter value");
    source_ = name;
  }

  std::string preamble() {
    const SweepSettings& sweep = world().sweep;
    return "0,0," + std::to_string(sweep.points) + ",1," + scientific(sweep.interval_s) + "," +
           scientific(-static_cast<double>(sweep.pretrigger) * sweep.interval_s) + ",0," +
           scientific(range_of(source_) / kByteSteps) + ",+0.0E+00,128";
  }

  template <class Take>
  void set(double value, double least, double most, Take take) {
    if (value >= least && value <= most)
      take(value);
    else
      error(-222, "Data out of range");
  }

  void set_range(const std::string& channel, double wanted) {
    const auto it = std::find_if(kRanges.begin(), kRanges.end(),
                                 [&](double r) { return r * (1 + 1e-9) >= wanted; });
    if (it == kRanges.end() || !gain_.contains(channel)) return error(-222, "Data out of range");
    world().sweep.range_V[channel] = *it;
  }

  double range_of(const std::string& channel) {
    const auto it = world().sweep.range_V.find(channel);
    return it == world().sweep.range_V.end() ? kRanges.back() : it->second;
  }

  std::optional<std::string> fetch(const std::string& channel) {
    const auto* samples = world().channel(channel);
    if (!samples || !fresh_ || world().sweep.armed)
      return error(-230, "Data corrupt or stale"), std::nullopt;
    std::string bytes;
    bytes.reserve(samples->size() * 4);
    const double range = range_of(channel);
    for (const double v : troubled(*samples, channel))
      append(bytes, converted(v, range, channel), range);
    std::string count = std::to_string(bytes.size());
    return "#" + std::to_string(count.size()) + count + bytes;
  }

  // What the leads pick up and the link loses. One block is lost or comes twice; the count stays.
  std::vector<double> troubled(std::vector<double> v, const std::string& channel) {
    World& w = world();
    const bool shunt = channel == "102";
    if (w.has_bench_fault(shunt ? "shunt-swapped" : "probe-swapped") && channel != "103")
      for (double& x : v) x = -x;
    const double share = shunt ? kPickedUpByShunt : 1;
    if (const double hum = share * w.bench_fault("hum"); hum > 0) add_hum(v, hum);
    if (const double burst = share * w.bench_fault("noise-burst"); burst > 0) add_bursts(v, burst);
    if (const double lost = w.bench_fault("dropped-samples"); lost > 0) drop(v, lost / 100);
    if (const double twice = w.bench_fault("duplicated-samples"); twice > 0) repeat(v, twice / 100);
    return v;
  }

  void add_hum(std::vector<double>& v, double volt) {
    constexpr double kHum_rad_s = 2 * std::numbers::pi * 50;
    const double phase = std::uniform_real_distribution(0.0, 6.28)(world().random());
    for (std::size_t k = 0; k < v.size(); ++k)
      v[k] +=
          volt * std::sin(kHum_rad_s * world().sweep.interval_s * static_cast<double>(k) + phase);
  }

  void add_bursts(std::vector<double>& v, double volt) {
    constexpr int kBursts = 3;
    constexpr double kBurst_s = 2e-4;
    const auto width = static_cast<std::size_t>(std::ceil(kBurst_s / world().sweep.interval_s));
    for (int n = 0; n < kBursts; ++n) {
      const std::size_t at = place(v.size());
      for (std::size_t k = at; k < std::min(at + width, v.size()); ++k)
        v[k] += world().gaussian(volt);
    }
  }

  std::size_t place(std::size_t size) {
    return std::uniform_int_distribution<std::size_t>(0, size - 1)(world().random());
  }

  static std::size_t block(const std::vector<double>& v, double share) {
    return std::max<std::size_t>(1,
                                 static_cast<std::size_t>(share * static_cast<double>(v.size())));
  }

  void drop(std::vector<double>& v, double share) {
    const std::size_t n = block(v, share), at = place(v.size() - n);
    const double last = v.back();
    v.erase(v.begin() + static_cast<std::ptrdiff_t>(at),
            v.begin() + static_cast<std::ptrdiff_t>(at + n));
    v.insert(v.end(), n, last);
  }

  void repeat(std::vector<double>& v, double share) {
    const std::size_t n = block(v, share), at = place(v.size() - n), size = v.size();
    const auto from = v.begin() + static_cast<std::ptrdiff_t>(at);
    const std::vector<double> again(from, from + static_cast<std::ptrdiff_t>(n));
    v.insert(v.begin() + static_cast<std::ptrdiff_t>(at), again.begin(), again.end());
    v.resize(size);
  }

  double converted(double volt, double range, const std::string& channel) {
    return volt * (1 + 1e-6 * kDigitiserReading_ppm * gain_[channel]) +
           1e-6 * kDigitiserRange_ppm * range * offset_[channel] + world().gaussian(kNoise * range);
  }

  static double rounded(double v, double range, double steps) {
    return std::clamp(std::round(v / range * steps), -steps, steps - 1);
  }

  void append(std::string& bytes, double v, double range) const {
    if (scope_) {
      const double code = rounded(v, range, kByteSteps) + kByteSteps;
      bytes += static_cast<char>(static_cast<unsigned char>(code));
      return;
    }
    // IEEE 488.2: most significant byte first.
    const auto bits = std::bit_cast<std::uint32_t>(
        static_cast<float>(rounded(v, range, kSteps) / kSteps * range));
    for (const int shift : {24, 16, 8, 0}) bytes += static_cast<char>((bits >> shift) & 0xff);
  }

  std::map<std::string, double> gain_, offset_;
  std::string source_ = "101";
  bool scope_;
  bool fresh_ = false;
};

}  // namespace

std::span<const double> digitiser_ranges() { return kRanges; }

std::unique_ptr<ScpiDevice> make_digitiser(World& world, scpi::Dialect dialect) {
  return std::make_unique<SimulatedDigitiser>(world, std::move(dialect));
}

}  // namespace pinproof::simulated
