// The simulated instruments: each line of the input goes to one of them, by its first letter. With
// a dialect of the input's own, if it begins with '{': that ends in a line of NUL.
#include <array>
#include <map>
#include <memory>

#include "packs.h"
#include "scpi/dialect.h"
#include "simulated/instruments.h"
#include "simulated/world.h"
#include "targets.h"

namespace pinproof::fuzz {
namespace {

using simulated::ScpiDevice;
using simulated::World;

constexpr int kMostLines = 48;
constexpr int kMostErrors = 25;
constexpr std::size_t kLongestReply = std::size_t{1} << 20;
constexpr double kMostSwept_s = 0.02;  // two microseconds a step

struct Kind {
  char letter;
  const char* dialect;
  std::unique_ptr<ScpiDevice> (*make)(World& world, scpi::Dialect dialect);
};
constexpr std::array kKinds{
    Kind{'m', "meter", simulated::make_meter}, Kind{'x', "matrix", simulated::make_matrix},
    Kind{'d', "digitiser", simulated::make_digitiser}, Kind{'s', "supply", simulated::make_supply},
    Kind{'a', "actuator", simulated::make_actuator}};

class Bench {
 public:
  Bench() : world_(four_speed(), 1, {}) {
    for (const Kind& kind : kKinds) devices_.push_back(kind.make(world_, common(kind.dialect)));
  }

  /// Takes the place of the instrument of its role.
  void take(scpi::Dialect dialect) {
    for (std::size_t k = 0; k < kKinds.size(); ++k)
      if (dialect.role() == kKinds[k].dialect) {
        devices_[k] = kKinds[k].make(world_, std::move(dialect));
        return;
      }
  }

  void say(std::string_view line) {
    const char letter = line.empty() ? 'm' : line.front();
    line.remove_prefix(line.empty() ? 0 : 1);
    for (std::size_t k = 0; k < kKinds.size(); ++k)
      if (kKinds[k].letter == letter) answer(*devices_[k], line);
  }

  void expect_queues_end() {
    for (const auto& device : devices_) {
      int asked = 0;
      if (!device->dialect().has("next_error")) continue;
      const std::string query = device->dialect().render("next_error");
      while (device->answer(query).value_or("+0").substr(0, 2) != "+0" && asked < kMostErrors)
        ++asked;
      expect(asked < kMostErrors, "an error queue ends", device->role());
    }
  }

 private:
  // Read once: that took more time than the lines of an input.
  static const scpi::Dialect& common(const std::string& role) {
    static const std::map<std::string, scpi::Dialect> all = [] {
      std::map<std::string, scpi::Dialect> out;
      for (const Kind& kind : kKinds)
        out.emplace(kind.dialect,
                    scpi::Dialect::load(in_project("drivers/dialects/scpi-" +
                                                   std::string(kind.dialect) + ".json")));
      return out;
    }();
    return all.at(role);
  }

  void answer(ScpiDevice& device, std::string_view line) {
    // A pulse is integrated over the whole sweep: long ones only cost time here.
    auto& sweep = world_.sweep;
    if (static_cast<double>(sweep.points) * sweep.interval_s > kMostSwept_s)
      sweep.points = 100, sweep.interval_s = 1e-5;
    const auto reply = device.answer(line);
    expect(!reply || reply->size() <= kLongestReply, "a reply has an end", line);
    expect(world_.elapsed() >= 0, "time goes on", line);
  }

  World world_;
  std::vector<std::unique_ptr<ScpiDevice>> devices_;
};

}  // namespace

void try_instrument(std::string_view input) {
  Bench bench;
  if (input.starts_with('{')) {
    const std::size_t end = std::min(input.find('\0'), input.size());
    const bool loaded = accepted([&] {
      bench.take(
          scpi::Dialect::parse(input.substr(0, end), in_project("drivers/dialects/fuzz.json")));
    });
    if (!loaded) return;
    input.remove_prefix(std::min(end + 1, input.size()));
  }
  for (int k = 0; k < kMostLines && !input.empty(); ++k) bench.say(take_line(input));
  bench.expect_queues_end();
}

}  // namespace pinproof::fuzz
