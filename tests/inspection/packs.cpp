#include "inspection/packs.h"

#include <cstdlib>
#include <filesystem>
#include <memory>
#include <utility>

#include "bench/ports.h"
#include "quantity/file.h"
#include "record/json.h"

namespace pinproof::tests {
namespace {

constexpr const char* kSix = "six-speed-20-pin";
constexpr const char* kFour = "four-speed-13-pin";
constexpr std::size_t kLargestRecord = std::size_t{256} << 20;

/// A relay matrix used as two probes: nothing is tied, nothing is driven. The plan is that of a
/// person with a meter; the plan and the verdict do not know which.
class TwoProbes final : public bench::Paths {
 public:
  explicit TwoProbes(std::unique_ptr<bench::Paths> paths) : paths_(std::move(paths)) {}
  bool can_tie() const override { return false; }
  bool can_drive() const override { return false; }
  void connect_meter(const bench::Connection& to, bool sense, Resistance expected,
                     const bench::Patience& patience) override {
    paths_->connect_meter(to, sense, expected, patience);
  }
  void connect_drive(const bench::Connection& drive, const bench::Connection& probe,
                     const bench::Patience& patience) override {
    paths_->connect_drive(drive, probe, patience);
  }
  void open_all(const bench::Patience& patience) override { paths_->open_all(patience); }

 private:
  std::unique_ptr<bench::Paths> paths_;
};

struct Wanted {
  std::string profile;
  std::uint64_t seed;
  By by;
  std::string fault;  // empty: a good pack
};

std::vector<Wanted> wanted_packs() {
  std::vector<Wanted> out;
  for (const By by : {By::relays_full, By::relays_static, By::two_probes}) {
    out.push_back({kSix, 4, by, ""});
    out.push_back({kFour, 11, by, ""});
    out.push_back({kSix, 7, by, "coil B: shorted-turns 10%"});
    out.push_back({kFour, 3, by, "coil S2: shorted-turns 12%"});
    out.push_back({kSix, 8, by, "wire ground wire: open"});
  }
  out.push_back({kSix, 5, By::relays_static, "coil C: case-leak"});
  out.push_back({kSix, 6, By::relays_static, "switch PS1: stuck-open"});
  return out;
}

Pack pack_of(const Wanted& wanted) {
  Pack out;
  out.name = wanted.profile + (wanted.fault.empty() ? " good" : " " + wanted.fault) +
             (wanted.by == By::relays_full     ? ", full"
              : wanted.by == By::relays_static ? ", static"
                                               : ", two probes");
  out.by = wanted.by, out.profile = load(wanted.profile), out.faulty = !wanted.fault.empty();
  return out;
}

Pack inspected(const Wanted& wanted) {
  Pack out = pack_of(wanted);
  const std::vector<std::string> faults(out.faulty ? 1 : 0, wanted.fault);
  if (out.by == By::two_probes)
    out.inspected =
        inspect(out.profile, wanted.seed, faults, false, [](bench::Instruments& instruments) {
          instruments.paths = std::make_unique<TwoProbes>(std::move(instruments.paths));
        });
  else
    out.inspected = inspect(out.profile, wanted.seed, faults, out.by == By::relays_full);
  return out;
}

std::string folder() {
  const char* named = std::getenv("PINPROOF_TEST_PACKS");
  return named ? named : "";
}

std::string file_of(std::size_t k) { return folder() + "/" + std::to_string(k) + ".json"; }

std::vector<Pack> kept_packs() {
  std::vector<Pack> out;
  for (const Wanted& wanted : wanted_packs()) {
    const std::string file = file_of(out.size());
    Pack& pack = out.emplace_back(pack_of(wanted));
    pack.inspected.record = record::from_json(read_file(file, kLargestRecord), file);
    judge(pack.profile, pack.inspected);
  }
  return out;
}

}  // namespace

Pack inspected_pack(const std::string& profile_name, std::uint64_t seed, By by,
                    const std::string& fault) {
  return inspected({profile_name, seed, by, fault});
}

std::vector<Pack> inspected_packs() {
  std::vector<Pack> out;
  for (const Wanted& wanted : wanted_packs()) out.push_back(inspected(wanted));
  return out;
}

bool keep(const std::vector<Pack>& packs) {
  if (folder().empty()) return false;
  std::filesystem::remove_all(folder());
  std::filesystem::create_directories(folder());
  for (std::size_t k = 0; k < packs.size(); ++k)
    write_file(file_of(k), record::to_json(packs[k].record()));
  return true;
}

const std::vector<Pack>& packs() {
  static const std::vector<Pack> all = folder().empty() ? inspected_packs() : kept_packs();
  return all;
}

}  // namespace pinproof::tests
