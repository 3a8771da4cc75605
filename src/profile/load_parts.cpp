#include "profile/load_steps.h"
#include "quantity/error.h"

namespace pinproof::profile {
namespace {

constexpr Interval kOhm{0, 1e9};
constexpr Interval kCelsius{-60, 250};
constexpr Interval kSeconds{1e-5, 10};
constexpr Interval kAmpere{1e-3, 50};
constexpr Interval kVolt{0.01, 100};
constexpr Interval kPascal{0, 1e7};  // 100 bar

Interval kilopascal_range() { return {kPascal.low / 1e3, kPascal.high / 1e3}; }

Interval resistance_with_temperature(Place& coil, double& celsius) {
  Place place = coil.at("resistance_ohm");
  const Interval out{place.number("low", {0.01, 1e5}), place.number("high", {0.01, 1e5})};
  if (!(out.low <= out.high)) place.refuse("low is above high; low <= high is required");
  celsius = place.number("at_celsius", kCelsius);
  place.done();
  return out;
}

Suppression load_suppression(Place& coil) {
  const auto place = coil.optional_at("suppression");
  if (!place || place->is_text()) {
    if (!place) return {};
    const std::size_t kind = coil.word("suppression", {"none", "diode"});
    return {kind == 0 ? SuppressionKind::none : SuppressionKind::diode, 0};
  }
  Place zener = *place;
  const Suppression out{SuppressionKind::zener, zener.number("zener_V", {3, 100})};
  zener.done();
  return out;
}

EnergyBudget load_energy(Place& coil) {
  Place place = coil.at("energy");
  const EnergyBudget out{place.number("max_pulse_s", {1e-3, 60}), place.number("rest_s", {0, 600}),
                         place.number("max_current_A", kAmpere)};
  place.done();
  return out;
}

Coil load_coil(Place& place) {
  Coil coil;
  coil.coil_class =
      place.word("class", {"on-off", "variable"}) == 0 ? CoilClass::on_off : CoilClass::variable;
  coil.resistance_ohm = resistance_with_temperature(place, coil.resistance_celsius);
  coil.matched_within_percent = place.optional_number("matched_within_percent", {0.01, 100});
  coil.inductance_H = place.optional_interval("inductance_H", {1e-6, 10});
  coil.pull_in_s = place.optional_interval("pull_in_s", kSeconds);
  coil.release_s = place.optional_interval("release_s", kSeconds);
  coil.pull_in_current_A = place.optional_interval("pull_in_current_A", kAmpere);
  coil.suppression = load_suppression(place);
  coil.energy = load_energy(place);
  if (auto hot = place.optional_at("hot")) {
    coil.hot_celsius = hot->number("celsius", kCelsius);
    coil.hot_supply_V = hot->number("supply_V", kVolt);
    hot->done();
  }
  return coil;
}

Switch load_switch(Place& place) {
  Switch out;
  out.rest = place.word("rest", {"open", "closed"}) == 0 ? Rest::open : Rest::closed;
  out.trip_Pa = 1e3 * place.number("trip_kPa", kilopascal_range());
  out.reset_Pa = 1e3 * place.number("reset_kPa", kilopascal_range());
  if (!(out.reset_Pa <= out.trip_Pa))
    place.refuse("reset_kPa", "above trip_kPa; a switch resets at or below its trip pressure");
  out.closed_ohm = place.number("closed_ohm", {1e-3, 1e4});
  out.series_ohm = place.optional_interval("series_ohm", kOhm);
  out.element = place.text("element");
  return out;
}

Contact load_contact(Place& place) {
  Contact out;
  out.closed_ohm = place.number("closed_ohm", {1e-3, 1e4});
  out.series_ohm = place.optional_interval("series_ohm", kOhm);
  return out;
}

std::vector<CurvePoint> load_table(const Place& place) {
  std::vector<CurvePoint> table;
  for (Place& row : place.items()) {
    const CurvePoint point{row.number("celsius", kCelsius), row.number("ohm", {1e-3, 1e9})};
    row.done();
    if (!table.empty() && !(point.celsius > table.back().celsius && point.ohm < table.back().ohm))
      row.refuse("out of order; celsius must rise and ohm must fall from row to row");
    table.push_back(point);
  }
  if (table.size() < 2) place.refuse("needs two rows or more");
  return table;
}

Thermistor load_thermistor(Place& place) {
  Thermistor out;
  out.tolerance_K = place.number("tolerance_K", {0.01, 50});
  if (auto c = place.optional_at("steinhart_hart")) {
    out.steinhart_hart = Thermistor::CurveCoefficients{
        c->number("A", {-1, 1}), c->number("B", {1e-9, 1}), c->number("C", {0, 1})};
    c->done();
  }
  if (const auto table = place.optional_at("table")) out.table = load_table(*table);
  if (out.steinhart_hart.has_value() == !out.table.empty())
    place.refuse("needs exactly one of \"steinhart_hart\" and \"table\"");
  return out;
}

PartLimits load_limits(Place& place, PartKind kind) {
  switch (kind) {
    case PartKind::coil:
      return load_coil(place);
    case PartKind::switch_:
      return load_switch(place);
    case PartKind::contact:
      return load_contact(place);
    case PartKind::thermistor:
      return load_thermistor(place);
    case PartKind::diode:
      return Diode{place.interval("forward_V", {0.05, 5})};
    case PartKind::resistor:
      return Resistor{place.interval("resistance_ohm", kOhm)};
    case PartKind::wire:
      break;
  }
  return Wire{place.number("max_ohm", {1e-3, 10})};
}

}  // namespace

Part load_part(Place place) {
  // In the order of PartKind.
  const std::size_t kind =
      place.word("kind", {"coil", "switch", "contact", "thermistor", "diode", "resistor", "wire"});
  Part part;
  part.name = place.text("name");
  const auto ends = place.at("between").items();
  if (ends.size() != 2)
    place.refuse("between", "two nodes are wanted, found " + std::to_string(ends.size()));
  part.between[0] = ends[0].text();
  part.between[1] = ends[1].text();
  part.required = place.optional_boolean("required", true);
  part.limits = load_limits(place, static_cast<PartKind>(kind));
  place.done();
  return part;
}

}  // namespace pinproof::profile
