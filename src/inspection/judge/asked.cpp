#include "inspection/judge/asked.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "inspection/checks/evidence.h"
#include "inspection/checks/plan.h"
#include "quantity/text.h"

namespace pinproof::inspection {
namespace {

using Nodes = std::vector<std::string>;

constexpr double kPressureSlack = 0.01;  // a record keeps more digits than that
constexpr double kVoltageSlack = 0.02;

bool same(const Nodes& a, const Nodes& b) {
  return std::set<std::string>(a.begin(), a.end()) == std::set<std::string>(b.begin(), b.end());
}

bool same(const bench::Connection& asked, const Nodes& from, const Nodes& to) {
  return (same(asked.high, from) && same(asked.low, to)) ||
         (same(asked.high, to) && same(asked.low, from));
}

bool same(const record::Condition& asked, const record::Condition& taken) {
  return asked.lever == taken.lever && same(asked.applied, taken.applied) &&
         std::abs(asked.pressure_Pa - taken.pressure_Pa) <= kPressureSlack * asked.pressure_Pa;
}

std::string state_text(const record::Condition& condition) {
  std::string out = text_of(condition);
  if (!condition.applied.empty()) out += " at " + format_si(condition.pressure_Pa, Unit::pascal, 3);
  return out;
}

// Every way in which the profile may ask for a key, on whatever bench.
class AskedSteps {
 public:
  AskedSteps(const profile::Profile& profile, bool full) : profile_(profile) {
    for (const bool tie : {true, false}) {
      Capabilities can;
      can.tie = tie;
      can.drive = can.lever = can.celsius = can.reference = can.high_reference = true;
      can.supply_max_V = can.supply_max_A = 1e3;
      for (Step& step : make_plan(profile, can, full).steps)
        if (step.phase != Phase::bench_before && step.phase != Phase::bench_after)
          steps_[step.key].push_back(std::move(step));
    }
  }

  /// Empty where it is as asked, or no plan knows of it.
  std::string differs(const record::Reading& reading) const {
    return differs(reading.key, reading.condition, [&](const Step& step) {
      const auto* ohm = std::get_if<OhmStep>(&step.action);
      if (!ohm || same(ohm->between, reading.from, reading.to)) return std::string();
      return "was read between " + list_of(reading.from) + " and " + list_of(reading.to) +
             ", this profile asks for " + list_of(ohm->between.high) + " and " +
             list_of(ohm->between.low);
    });
  }
  std::string differs(const record::PulseCapture& capture) const {
    return differs(capture.key, capture.condition, [&](const Step& step) {
      const auto* drive = std::get_if<DriveStep>(&step.action);
      if (!drive) return std::string();
      if (!same(drive->coils, capture.coils))
        return "was driven with coil " + list_of(capture.coils) + ", this profile asks for " +
               list_of(drive->coils);
      // Coils pull in quicker at a higher voltage. A lower one is what a weaker supply gives, and
      // what limits that were learned since leave of a coil's budget: a run is judged by it, too.
      if (!(capture.set_V <= (1 + kVoltageSlack) * drive->voltage.si()))
        return "was driven with " + format_si(capture.set_V, Unit::volt, 3) +
               ", this profile asks for " + format_si(drive->voltage.si(), Unit::volt, 3);
      if (capture.probe.size() == 2 &&
          same(drive->probe, {capture.probe.front()}, {capture.probe.back()}))
        return std::string();
      return "was seen between " + list_of(capture.probe) + ", this profile asks for " +
             list_of(drive->probe.high) + " and " + list_of(drive->probe.low);
    });
  }

 private:
  template <typename Ends>
  std::string differs(const record::Key& key, const record::Condition& taken,
                      const Ends& ends) const {
    const auto at = steps_.find(key);
    if (at == steps_.end()) return "";
    std::string why;
    for (const Step& step : at->second) {
      why = ends(step);
      const auto state = condition_of(profile_, step.state);
      if (why.empty() && !same(state, taken))
        why = "was read with " + state_text(taken) + ", this profile asks for " + state_text(state);
      if (why.empty()) return why;
    }
    return why;
  }

  const profile::Profile& profile_;
  std::map<record::Key, std::vector<Step>> steps_;
};

}  // namespace

std::vector<record::Skipped> asked_otherwise(const profile::Profile& profile,
                                             const record::Record& record) {
  if (profile.hash == record.header.profile_hash && !profile.hash.empty()) return {};
  const AskedSteps asked(profile, record.header.full);
  std::vector<record::Skipped> out;
  std::set<record::Key> seen;
  const auto look = [&](const auto& answer, const auto* last) {
    if (last != &answer || !seen.insert(answer.key).second) return;
    if (std::string why = asked.differs(answer); !why.empty())
      out.push_back({answer.key, std::move(why)});
  };
  for (const record::Event& event : record.events) {
    if (const auto* reading = std::get_if<record::Reading>(&event))
      look(*reading, record::last_reading(record, reading->key));
    else if (const auto* capture = std::get_if<record::PulseCapture>(&event))
      look(*capture, record::last_capture(record, capture->key));
  }
  return out;
}

}  // namespace pinproof::inspection
