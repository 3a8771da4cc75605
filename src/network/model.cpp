#include "network/model.h"

#include <algorithm>
#include <cmath>

#include "profile/harness.h"

namespace pinproof::network {
namespace {

using profile::Part;
using profile::PartKind;

// A good contact or wire reads well below its limit (common practice, no source).
constexpr double kUsualShare = 0.3;
constexpr double kUsualSpread = 0.25;
constexpr double kLotShare = 0.8;            // of a coil's variance; windings of one lot are alike
constexpr double kCopper_per_K = 1 / 254.5;  // at 20 °C, IEC 60028
constexpr double kPin_ohm = 0.005;

bool is_contact(const Part& part) {
  return part.kind() == PartKind::switch_ || part.kind() == PartKind::contact;
}

double copper(double celsius, double at) { return (234.5 + celsius) / (234.5 + at); }

// Of a uniform distribution (JCGM 100, 4.3.7).
double sd_of(const Interval& limits) { return limits.width() / std::sqrt(12.0); }

}  // namespace

Model::Model(const profile::Profile& profile, ModelOptions options)
    : profile_(&profile), options_(options) {
  for (const auto& pin : profile.connector.pins) names_.push_back(pin.number);
  names_.emplace_back(profile::kCase);
  terminals_ = names_.size();
  for (const std::string& inner : profile.nodes) names_.push_back(inner);
  for (const auto& pin : profile.connector.pins) {
    const auto shares = std::count_if(profile.parts.begin(), profile.parts.end(), [&](auto& p) {
      return !p.mate && (p.between[0] == pin.number || p.between[1] == pin.number);
    });
    if (shares < 2) continue;
    Element wire;
    wire.a = *find(pin.number), wire.b = node("inside " + pin.number);
    wire.part = "pin " + pin.number;
    wire.ohm = kPin_ohm;
    elements_.push_back(wire);
  }
  for (const Part& part : profile.parts)
    part.kind() == PartKind::coil ? add_coil(part) : add_part(part);
}

Model Model::with(const std::vector<double>& ohm) const {
  Model out(*this);
  for (std::size_t e = 0; e < elements_.size(); ++e) out.elements_[e].ohm = ohm.at(e);
  return out;
}

std::optional<std::size_t> Model::find(std::string_view node) const {
  const auto it = std::find(names_.begin(), names_.end(), node);
  if (it == names_.end()) return std::nullopt;
  return static_cast<std::size_t>(it - names_.begin());
}

std::size_t Model::node(const std::string& name) {
  if (const auto there = find(name)) return *there;
  names_.push_back(name);
  return names_.size() - 1;
}

std::size_t Model::inside(std::string_view pin) const {
  const auto inner = find("inside " + std::string(pin));
  return inner ? *inner : *find(pin);
}

std::optional<std::size_t> Model::middle(std::string_view coil) const {
  return find("middle of " + std::string(coil));
}

std::vector<std::size_t> Model::elements_of(std::string_view part) const {
  std::vector<std::size_t> out;
  for (std::size_t e = 0; e < elements_.size(); ++e)
    if (elements_[e].part == part) out.push_back(e);
  return out;
}

Element Model::drawn(const Part& part) const {
  Element out;
  out.part = part.name, out.kind = part.kind();
  out.a = inside(part.between[0]), out.b = inside(part.between[1]);
  const auto usual = [&](double most) {
    out.ohm += kUsualShare * most, out.sd_ohm = std::hypot(out.sd_ohm, kUsualSpread * most);
  };
  const auto built_in = [&](const std::optional<Interval>& series) {
    if (series) out.ohm += series->middle(), out.sd_ohm = std::hypot(out.sd_ohm, sd_of(*series));
  };
  if (part.wire()) usual(part.wire()->max_ohm);
  if (part.contact()) usual(part.contact()->closed_ohm), built_in(part.contact()->series_ohm);
  if (part.pressure_switch())
    usual(part.pressure_switch()->closed_ohm), built_in(part.pressure_switch()->series_ohm);
  if (part.resistor())
    out.ohm = part.resistor()->resistance_ohm.middle(),
    out.sd_ohm = sd_of(part.resistor()->resistance_ohm);
  if (part.thermistor()) {
    const auto& curve = *part.thermistor();
    const double here = profile::thermistor_ohm(curve, options_.celsius).value_or(0);
    const double warmer = profile::thermistor_ohm(curve, options_.celsius + 1).value_or(here);
    out.ohm = here;
    out.per_K = here > 0 ? std::log(warmer / here) : 0;
    out.sd_ohm = std::abs(out.per_K) * here * curve.tolerance_K / 2;
  }
  return out;
}

void Model::add_part(const Part& part) {
  if (part.kind() == PartKind::diode) return;  // not a resistor: see the driven checks
  Element element = drawn(part);
  if (options_.tolerance) element.sd_ohm = *options_.tolerance * element.ohm, element.lot = 0;
  elements_.push_back(element);
}

void Model::add_coil(const Part& part) {
  const auto& coil = *part.coil();
  Element half;
  half.part = part.name, half.kind = part.kind();
  half.ohm = coil.resistance_ohm.middle() * copper(options_.celsius, coil.resistance_celsius) / 2;
  const double relative = sd_of(coil.resistance_ohm) / coil.resistance_ohm.middle();
  half.lot = relative * std::sqrt(kLotShare);
  half.per_K = kCopper_per_K;
  // Both halves together have the coil's own deviation.
  half.sd_ohm = relative * std::sqrt(1 - kLotShare) * half.ohm * std::sqrt(2.0);
  if (options_.tolerance)
    half.sd_ohm = *options_.tolerance * half.ohm * std::sqrt(2.0), half.lot = 0;
  const std::size_t tap = node("middle of " + part.name);
  half.a = inside(part.between[0]), half.b = tap;
  elements_.push_back(half);
  half.a = tap, half.b = inside(part.between[1]);
  elements_.push_back(half);
}

bool Model::conducts(const Element& element, const Situation& situation) const {
  const Part* part = profile_->find_part(element.part);
  if (part && part->mate) return situation.plugged;
  return !part || !is_contact(*part) ||
         is_closed(*profile_, *part, situation.state).value_or(false);
}

bool Model::reachable(std::size_t terminal, const Situation& situation) const {
  if (profile_->harness_pins == 0 || !situation.plugged) return true;
  return names_[terminal] == profile::kCase ||
         profile::side_of(*profile_, names_[terminal]) == profile::Side::controller;
}

bool Model::settled(std::size_t terminal, const Situation& situation) const {
  return std::none_of(elements_.begin(), elements_.end(), [&](const Element& element) {
    const Part* part = profile_->find_part(element.part);
    const std::size_t at = inside(names_[terminal]);
    return part && is_contact(*part) && (element.a == at || element.b == at) &&
           names_[terminal] != profile::kCase && !is_closed(*profile_, *part, situation.state);
  });
}

Resistances Model::built(const std::vector<double>& ohm) const {
  std::vector<Edge> edges;
  const std::size_t body = *find(profile::kCase);
  for (std::size_t pin = 0; pin < terminals_; ++pin)
    if (pin != body) edges.push_back({pin, body, options_.insulation_S});
  for (std::size_t e = 0; e < elements_.size(); ++e)
    edges.push_back({elements_[e].a, elements_[e].b, 1 / std::min(ohm[e], kOpenCircuit_ohm)});
  return Resistances::of(nodes(), std::move(edges));
}

GoodPack Model::good(const Situation& situation) const {
  GoodPack out;
  out.situation = situation;
  for (const Element& element : elements_)
    out.ohm.push_back(element.ohm > 0 && conducts(element, situation) ? element.ohm : INFINITY);
  out.resistances = built(out.ohm);
  if (!situation.tied.empty()) {
    out.untied = out.resistances;
    tie(situation, out.resistances);
  }
  return out;
}

void tie(const Situation& situation, Resistances& resistances) {
  constexpr double kTie_S = 1e3;
  for (const auto& group : situation.tied)
    for (std::size_t k = 1; k < group.size(); ++k)
      resistances.add({group.front(), group[k], kTie_S});
}

}  // namespace pinproof::network
