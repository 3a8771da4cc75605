#include "inspection/checks/plan.h"

#include <algorithm>
#include <stdexcept>
#include <tuple>

#include "inspection/checks/check.h"

namespace pinproof::inspection {
namespace {

constexpr double kTestPressureOverTrip = 1.2;

// Lever and air settings are brought together inside a phase; the first
// appearance decides the order, so that a walk follows the plan's own sequence.
void order(std::vector<Step>& steps) {
  std::vector<std::vector<std::string>> airs;
  const auto air_rank = [&](const std::vector<std::string>& applied) {
    const auto it = std::find(airs.begin(), airs.end(), applied);
    return static_cast<std::size_t>(it - airs.begin());
  };
  for (const Step& step : steps)
    if (air_rank(step.state.applied) == airs.size()) airs.push_back(step.state.applied);
  std::stable_sort(steps.begin(), steps.end(), [&](const Step& a, const Step& b) {
    const auto rank = [&](const Step& s) {
      return std::tuple(s.phase, s.state.lever.value_or(0), air_rank(s.state.applied));
    };
    return rank(a) < rank(b);
  });
}

}  // namespace

namespace {

// Whether one answer is an answer to both.
bool same_question(const Step& a, const Step& b) {
  if (a.phase != b.phase || a.state != b.state || a.action.index() != b.action.index())
    return false;
  if (const auto* one = std::get_if<OhmStep>(&a.action)) {
    const auto& other = std::get<OhmStep>(b.action);
    return one->between == other.between && one->rows == other.rows;
  }
  const auto* one = std::get_if<DriveStep>(&a.action);
  if (!one) return true;
  const auto& other = std::get<DriveStep>(b.action);
  return one->coils == other.coils && one->drive == other.drive && one->probe == other.probe;
}

}  // namespace

void Plan::add(Step step) {
  const auto same = std::find_if(steps.begin(), steps.end(),
                                 [&](const Step& other) { return other.key == step.key; });
  if (same == steps.end()) {
    steps.push_back(std::move(step));
    return;
  }
  if (!same_question(*same, step))
    throw std::logic_error("two questions of the plan have the key " + step.key.check + ", " +
                           step.key.subject + ", " + step.key.role);
}

Plan make_plan(const profile::Profile& profile, const Capabilities& can, bool full) {
  Plan plan;
  for (const CheckKind* kind : check_kinds())
    if (full || !kind->driven) kind->plan(profile, can, plan);
  order(plan.steps);
  return plan;
}

Plan make_follow_up(const profile::Profile& profile, const Capabilities& can,
                    const record::Record& record) {
  Plan plan;
  const Evidence evidence(profile, record);
  for (const CheckKind* kind : check_kinds())
    if (kind->follow_up) kind->follow_up(evidence, can, plan);
  order(plan.steps);
  return plan;
}

network::PackState rest_state(const profile::Profile& profile) {
  network::PackState state;
  if (profile.lever) state.lever = 0;
  return state;
}

double test_pressure_Pa(const profile::Profile& profile, const std::vector<std::string>& elements) {
  double trip = 0;
  for (const profile::Part& part : profile.parts) {
    if (!part.pressure_switch()) continue;
    const bool applied = std::find(elements.begin(), elements.end(),
                                   part.pressure_switch()->element) != elements.end();
    if (applied) trip = std::max(trip, part.pressure_switch()->trip_Pa);
  }
  return kTestPressureOverTrip * trip;
}

record::Condition condition_of(const profile::Profile& profile, const network::PackState& state) {
  record::Condition out;
  if (profile.lever && state.lever) out.lever = profile.lever->positions[*state.lever].name;
  out.applied = state.applied;
  if (!state.applied.empty()) out.pressure_Pa = test_pressure_Pa(profile, state.applied);
  return out;
}

}  // namespace pinproof::inspection
