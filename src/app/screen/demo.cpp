#include "app/screen/demo.h"

#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <optional>
#include <utility>

#include "bench/patience.h"
#include "quantity/error.h"
#include "quantity/file.h"

namespace pinproof::app {
namespace {

namespace fs = std::filesystem;

struct Boxed {
  const char* serial;
  const char* says;
  std::uint64_t seed;
  std::vector<std::string> faults;
};

// All invented. What the box says is what its sender says: some of it is wrong.
const std::vector<Boxed>& box() {
  static const std::vector<Boxed> packs{
      {"HD-2401", "new", 2401, {}},
      {"HD-2402", "new", 2402, {"coil B: open"}},
      {"HD-2403", "new", 2403, {"coil C: shorted-turns 12 %"}},
      {"HD-2404", "new", 2404, {"wire ground wire: resistance 1.5"}},
      {"HD-2405", "pulled: will not shift", 2405, {}},
      {"HD-2406", "pulled: starts in any gear", 2406, {"contact start permit: stuck-closed"}},
      {"HD-2407", "pulled: slips when hot", 2407, {"coil A: case-leak"}},
      {"HD-2408", "cleaned and tested", 2408, {"coil D: stuck-open"}},
      {"HD-2409", "cleaned and tested", 2409, {"switch PS1: stuck-open"}},
      {"HD-2410", "new", 2410, {}}};
  return packs;
}

constexpr const char* kLot = "DEMO-BOX";
// Of the relays: a look at each reading, and a pack in a quarter of a minute.
constexpr double kSpeed = 4;

// Puts the probes on by the bench's own relays, as a person would by hand.
class Hands final : public Helper {
 public:
  Hands(simulated::SimulatedBench& bench, const profile::Profile& profile)
      : bench_(bench), profile_(profile) {}

  void touch(const bench::ProbePair& pair) override {
    if (pair.where == bench::ProbePair::Where::stay) return;
    looks_ = 0;
    bench_.probes({}, {});
    if (pair.where != bench::ProbePair::Where::apart) next_ = pair;
  }

  bool task(const bench::HandTask& task) override {
    pause(0.6);
    for (std::size_t p = 0; profile_.lever && p < profile_.lever->positions.size(); ++p)
      if (task.what == "Move the lever to " + profile_.lever->positions[p].name + ".") {
        bench_.lever(p);
        return true;
      }
    if (task.kind != "air tests" && task.kind != "venting") return false;
    air(task.what);
    return true;
  }

  bool takes(bench::Grip grip) override {
    // The meter has seen the probes in the air: that is how it knows that they were moved.
    if (const auto pair = std::exchange(next_, std::nullopt)) {
      pause(0.3);
      bench_.probes(pair->red, pair->black);
      return false;
    }
    // Looks twice before he believes an open.
    const bool wants = grip == bench::Grip::open || grip == bench::Grip::open_expected ||
                       grip == bench::Grip::unexpected;
    looks_ = wants ? looks_ + 1 : 0;
    return looks_ % 3 == 2;
  }

  std::string ask(const std::string& question) override {
    return question.starts_with("Temperature") ? format_celsius() : "";
  }

 private:
  static void pause(double seconds) {
    bench::pause(Duration{seconds}, bench::Patience(Duration{seconds}));
  }

  // "Apply 414 kPa (60.0 psi) of air to E1 and E2 and hold it there."
  void air(const std::string& what) {
    std::vector<std::string> elements;
    double pascal = 0;
    for (const profile::Part& part : profile_.parts) {
      if (!part.pressure_switch()) continue;
      const std::string& element = part.pressure_switch()->element;
      const bool named = what.find(" " + element + " ") != std::string::npos;
      if (!named || what.find("Apply") == std::string::npos) continue;
      elements.push_back(element);
      pascal = std::max(pascal, 1.2 * part.pressure_switch()->trip_Pa);
    }
    bench_.air(elements, pascal);
  }

  std::string format_celsius() const {
    return std::to_string(std::lround(bench_.ambient_celsius()));
  }

  simulated::SimulatedBench& bench_;
  const profile::Profile& profile_;
  std::optional<bench::ProbePair> next_;  // where the probes are on their way to
  int looks_ = 0;
};

std::string private_file() {
  std::string folder = (fs::temp_directory_path() / "pinproof-demo-XXXXXX").string();
  if (::mkdtemp(folder.data()) == nullptr)
    throw Error(Fault::usage, folder + ": cannot make a folder for the demo");
  return folder + "/bench.json";
}

simulated::SimulationOptions options_of(const profile::Profile& profile, const std::string& serial,
                                        bool by_hand, const std::string& dialects) {
  simulated::SimulationOptions out;
  out.profile = profile;
  out.seed = std::hash<std::string>{}(serial) % 100000;
  for (const Boxed& pack : box())
    if (serial == pack.serial) {
      out.seed = pack.seed;
      out.faults = pack.faults;
    }
  out.speed = kSpeed;
  out.bench_by = by_hand ? "hand" : "matrix";
  out.dialect_folder = dialects;
  return out;
}

}  // namespace

std::vector<screen::PackOffer> demo_packs() {
  std::vector<screen::PackOffer> out;
  for (const Boxed& pack : box()) out.push_back({pack.serial, kLot, pack.says});
  return out;
}

DemoBench::DemoBench(const profile::Profile& profile, const std::string& serial, bool by_hand,
                     const std::string& dialects)
    : bench_(std::make_unique<simulated::SimulatedBench>(
          options_of(profile, serial, by_hand, dialects))),
      file_(private_file()) {
  bench_->start();
  write_file(file_, bench_->bench_file());
  if (by_hand) helper_ = std::make_unique<Hands>(*bench_, profile);
}

DemoBench::~DemoBench() {
  bench_->stop();
  std::error_code ignored;
  fs::remove_all(fs::path(file_).parent_path(), ignored);
}

}  // namespace pinproof::app
