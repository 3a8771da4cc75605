#include "profile/profile.h"

#include <algorithm>
#include <cmath>

namespace pinproof::profile {
namespace {

constexpr double kKelvin = 273.15;
constexpr double kBeyondTable_K = 20;

double inverse_kelvin(double celsius) { return 1 / (celsius + kKelvin); }

// Real root ln R of A + B x + C x^3 = 1/T. Monotonic for B, C > 0, so one root.
double steinhart_hart_ln_ohm(const Thermistor::CurveCoefficients& c, double celsius) {
  const double y = inverse_kelvin(celsius);
  double x = (y - c.A) / c.B;
  for (int i = 0; i < 60; ++i) {
    const double step = (c.A + c.B * x + c.C * x * x * x - y) / (c.B + 3 * c.C * x * x);
    x -= step;
    if (std::abs(step) < 1e-14 * std::abs(x)) break;
  }
  return x;
}

// Straight line through the two table points around `at`, or the outermost two.
struct CurveSegment {
  const CurvePoint& a;
  const CurvePoint& b;
};

CurveSegment segment_at(const std::vector<CurvePoint>& table, double celsius) {
  std::size_t i = 1;
  while (i + 1 < table.size() && table[i].celsius < celsius) ++i;
  return {table[i - 1], table[i]};
}

CurveSegment segment_for_ohm(const std::vector<CurvePoint>& table, double ohm) {
  std::size_t i = 1;
  while (i + 1 < table.size() && table[i].ohm > ohm) ++i;
  return {table[i - 1], table[i]};
}

bool far_outside(const std::vector<CurvePoint>& table, double celsius) {
  return celsius < table.front().celsius - kBeyondTable_K ||
         celsius > table.back().celsius + kBeyondTable_K;
}

}  // namespace

std::string_view name_of(PartKind kind) {
  switch (kind) {
    case PartKind::coil:
      return "coil";
    case PartKind::switch_:
      return "switch";
    case PartKind::contact:
      return "contact";
    case PartKind::thermistor:
      return "thermistor";
    case PartKind::diode:
      return "diode";
    case PartKind::resistor:
      return "resistor";
    case PartKind::wire:
      return "wire";
  }
  return "";
}

const Part* Profile::find_part(std::string_view part) const {
  const auto it =
      std::find_if(parts.begin(), parts.end(), [part](const Part& p) { return p.name == part; });
  return it == parts.end() ? nullptr : &*it;
}

bool Profile::is_pin(std::string_view node) const {
  return std::any_of(connector.pins.begin(), connector.pins.end(),
                     [node](const Pin& pin) { return pin.number == node; });
}

std::optional<Bit> lever_bit(const Lever& lever, std::string_view contact, std::size_t position) {
  if (position >= lever.positions.size()) return std::nullopt;
  const LeverPosition& at = lever.positions[position];
  if (!contact.empty() && contact == lever.start_permit)
    return at.start_permitted ? Bit::closed : Bit::open;
  if (!contact.empty() && contact == lever.reverse) return at.reverse ? Bit::closed : Bit::open;
  for (std::size_t i = 0; i < lever.lines.size(); ++i)
    if (lever.lines[i] == contact && at.code[i] != Bit::any) return at.code[i];
  return std::nullopt;
}

std::vector<std::string> terminals_of(const Profile& profile, std::string_view node) {
  std::vector<std::string> reached{std::string(node)};
  for (std::size_t i = 0; i < reached.size(); ++i) {
    for (const Part& part : profile.parts) {
      if (part.kind() != PartKind::wire) continue;
      for (const int end : {0, 1}) {
        if (part.between[end] != reached[i]) continue;
        const std::string& other = part.between[1 - end];
        if (std::find(reached.begin(), reached.end(), other) == reached.end())
          reached.push_back(other);
      }
    }
  }
  std::erase_if(reached, [&](const std::string& n) { return n != kCase && !profile.is_pin(n); });
  return reached;
}

std::optional<double> thermistor_ohm(const Thermistor& thermistor, double celsius) {
  if (!std::isfinite(celsius) || celsius <= -kKelvin) return std::nullopt;
  if (thermistor.steinhart_hart)
    return std::exp(steinhart_hart_ln_ohm(*thermistor.steinhart_hart, celsius));
  if (thermistor.table.size() < 2 || far_outside(thermistor.table, celsius)) return std::nullopt;
  const auto [a, b] = segment_at(thermistor.table, celsius);
  const double ya = inverse_kelvin(a.celsius);
  const double share = (inverse_kelvin(celsius) - ya) / (inverse_kelvin(b.celsius) - ya);
  return std::exp(std::log(a.ohm) + share * (std::log(b.ohm) - std::log(a.ohm)));
}

std::optional<double> thermistor_celsius(const Thermistor& thermistor, double ohm) {
  if (!std::isfinite(ohm) || ohm <= 0) return std::nullopt;
  const double x = std::log(ohm);
  if (const auto& c = thermistor.steinhart_hart) {
    const double y = c->A + c->B * x + c->C * x * x * x;
    if (!(y > 0)) return std::nullopt;
    return 1 / y - kKelvin;
  }
  if (thermistor.table.size() < 2) return std::nullopt;
  const auto [a, b] = segment_for_ohm(thermistor.table, ohm);
  const double share = (x - std::log(a.ohm)) / (std::log(b.ohm) - std::log(a.ohm));
  const double y =
      inverse_kelvin(a.celsius) + share * (inverse_kelvin(b.celsius) - inverse_kelvin(a.celsius));
  if (!(y > 0)) return std::nullopt;
  const double celsius = 1 / y - kKelvin;
  if (far_outside(thermistor.table, celsius)) return std::nullopt;
  return celsius;
}

}  // namespace pinproof::profile
