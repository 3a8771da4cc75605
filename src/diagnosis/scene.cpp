#include "diagnosis/scene.h"

#include <algorithm>
#include <cmath>
#include <set>

namespace pinproof::diagnosis {
namespace {

constexpr double kBend_ohm = 1.25;
constexpr double kFloor = 0.002;  // of y: what no budget knows
constexpr double kFraction_u = 0.01;

// Of y, where good insulation is a part of the resistance, which is `beside` times the least open
// one: over two standard deviations downwards, since y bends there.
double insulation_spread(double beside) {
  const double part = beside / (1 + beside);
  const double poor = beside * std::exp(-2 * kInsulationSpread * part);
  return std::log(std::exp(2 * kInsulationSpread * part) * (1 + poor) / (1 + beside)) / 2;
}

}  // namespace

Scene::Scene(const network::Model& model, std::vector<network::Situation> situations)
    : model_(&model),
      situations_(std::move(situations)),
      open_ohm_(model.profile().insulation_ohm) {
  for (const auto& one : situations_) good_.push_back(model.good(one));
}

std::size_t Scene::situation(const network::Situation& wanted) {
  const auto it = std::find(situations_.begin(), situations_.end(), wanted);
  if (it != situations_.end()) return static_cast<std::size_t>(it - situations_.begin());
  situations_.push_back(wanted);
  good_.push_back(model_->good(wanted));
  return situations_.size() - 1;
}

network::Altering Scene::altered(std::size_t situation, const std::vector<Guess>& guesses) const {
  std::vector<network::Altered> faults;
  for (const Guess& guess : guesses) faults.push_back(guess.suspect->altered(guess.size));
  return network::alter(*model_, good_[situation], faults);
}

double Scene::y_of(const Probe& probe, double ohm) const {
  if (probe.kind == ProbeKind::fraction) return ohm;
  // As if the least open resistance lay across the leads: smooth, and the same for all opens.
  const double seen = std::isinf(ohm) ? open_ohm_ : ohm / (1 + std::max(ohm, 0.0) / open_ohm_);
  return std::asinh(seen / kBend_ohm);
}

double Scene::slope_of(const Probe& probe, double ohm) const {
  if (probe.kind == ProbeKind::fraction) return 1;
  const double beside = 1 + std::max(ohm, 0.0) / open_ohm_;
  return 1 / (std::hypot(ohm / beside, kBend_ohm) * beside * beside);
}

Expected Scene::expected(const Probe& probe, const network::Resistances& r) const {
  const auto& [a, b, c, d] = probe.sight;
  Expected out;
  out.ohm = probe.kind == ProbeKind::ohm ? r(a, b) : r.transfer(a, b, c, d);
  if (probe.kind == ProbeKind::fraction) {
    // The voltmeter's own resistance is an edge between c and d.
    const double loaded = 1 + r(c, d) / kVoltmeter_ohm;
    const double across = r(a, b) - out.ohm * out.ohm / (kVoltmeter_ohm * loaded);
    out.ohm = across > 0 ? out.ohm / loaded / across : 0;
    out.vague = kFraction_u;
  } else {
    out.vague = std::hypot(kFloor, insulation_spread(std::max(out.ohm, 0.0) / open_ohm_));
  }
  out.y = y_of(probe, out.ohm);
  out.slope = slope_of(probe, out.ohm);
  return out;
}

std::vector<network::Situation> usual_situations(const profile::Profile& profile) {
  std::vector<network::Situation> out;
  const std::size_t positions = profile.lever ? profile.lever->positions.size() : 1;
  for (std::size_t p = 0; p < positions; ++p) {
    network::Situation one;
    if (profile.lever) one.state.lever = p;
    out.push_back(one);
  }
  std::set<std::string> elements;
  for (const auto& part : profile.parts)
    if (part.pressure_switch()) elements.insert(part.pressure_switch()->element);
  network::Situation all = out.front();
  all.state.applied.assign(elements.begin(), elements.end());
  for (const std::string& element : elements) {
    network::Situation one = out.front();
    one.state.applied = {element};
    if (elements.size() > 1) out.push_back(one);
  }
  if (!elements.empty()) out.push_back(all);
  if (profile.harness_pins > 0) {  // the same with the harness plugged in, and once without
    for (auto& one : out) one.plugged = true;
    network::Situation apart = out.front();
    apart.plugged = false;
    out.push_back(apart);
  }
  return out;
}

}  // namespace pinproof::diagnosis
