// Good and faulty packs of both profiles, inspected once a test program: what must hold of every
// record is tried on these.
#pragma once

#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "inspection/rig.h"

namespace pinproof::tests {

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

enum class By { relays_full, relays_static, two_probes };

struct Pack {
  std::string name;
  By by = By::relays_full;
  profile::Profile profile;
  Inspected inspected;
  bool faulty = false;

  const record::Record& record() const { return inspected.record; }
  bool accepted() const { return inspected.judgement.verdict == inspection::Verdict::accept; }
};

inline Inspected inspect_by_probes(const profile::Profile& profile, std::uint64_t seed,
                                   std::vector<std::string> faults) {
  return inspect(profile, seed, std::move(faults), false, [](bench::Instruments& instruments) {
    instruments.paths = std::make_unique<TwoProbes>(std::move(instruments.paths));
  });
}

inline Pack inspected_pack(const std::string& profile_name, std::uint64_t seed, By by,
                           const std::string& fault) {
  Pack out;
  out.name = profile_name + (fault.empty() ? " good" : " " + fault) +
             (by == By::relays_full     ? ", full"
              : by == By::relays_static ? ", static"
                                        : ", two probes");
  out.by = by, out.profile = load(profile_name), out.faulty = !fault.empty();
  std::vector<std::string> faults;
  if (!fault.empty()) faults.push_back(fault);
  out.inspected = by == By::two_probes
                      ? inspect_by_probes(out.profile, seed, std::move(faults))
                      : inspect(out.profile, seed, std::move(faults), by == By::relays_full);
  return out;
}

inline const std::vector<Pack>& packs() {
  static const std::vector<Pack> all = [] {
    const std::string six = "six-speed-20-pin", four = "four-speed-13-pin";
    std::vector<Pack> out;
    for (const By by : {By::relays_full, By::relays_static, By::two_probes}) {
      out.push_back(inspected_pack(six, 4, by, ""));
      out.push_back(inspected_pack(four, 11, by, ""));
      out.push_back(inspected_pack(six, 7, by, "coil B: shorted-turns 10%"));
      out.push_back(inspected_pack(four, 3, by, "coil S2: shorted-turns 12%"));
      out.push_back(inspected_pack(six, 8, by, "wire ground wire: open"));
    }
    out.push_back(inspected_pack(six, 5, By::relays_static, "coil C: case-leak"));
    out.push_back(inspected_pack(six, 6, By::relays_static, "switch PS1: stuck-open"));
    return out;
  }();
  return all;
}

}  // namespace pinproof::tests
