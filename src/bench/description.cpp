#include "bench/description.h"

#include <algorithm>
#include <iomanip>
#include <locale>
#include <sstream>
#include <utility>

#include "bench/ports.h"
#include "quantity/document.h"
#include "quantity/error.h"
#include "quantity/file.h"

namespace pinproof::bench {
namespace {

constexpr std::size_t kLargestFile = std::size_t{1} << 20;
constexpr Interval kPpm{0, 1e6};

InstrumentDescription load_instrument(Place place);

}  // namespace

metrology::AccuracyEntry load_accuracy_entry(Place place, const std::string& source) {
  metrology::AccuracyEntry out;
  out.function = place.text("function");
  out.range = place.number("range", {1e-6, 1e12});
  out.over = place.optional_number("over", {1, 2}).value_or(1.0);
  out.reading_ppm = place.number("reading_ppm", kPpm);
  out.range_ppm = place.number("range_ppm", kPpm);
  out.resolution = place.optional_number("resolution", {0, 1e9}).value_or(0);
  out.two_wire_add_ohm = place.optional_number("two_wire_add_ohm", {0, 10}).value_or(0);
  out.test_current_A = place.optional_number("test_current_A", {1e-12, 10}).value_or(0);
  out.source = place.optional_text("source");
  if (out.source.empty()) out.source = source;
  if (out.source.empty()) place.refuse("source", "is missing: where do the numbers come from?");
  place.done();
  return out;
}

namespace {

InstrumentDescription load_instrument(Place place) {
  InstrumentDescription out;
  static const std::vector<std::string_view> kRoles{"meter",  "matrix",    "probes",
                                                    "supply", "digitiser", "actuator"};
  out.role = kRoles[place.word("role", kRoles)];
  out.driver = place.text("driver");
  out.dialect = place.optional_text("dialect");
  out.address = out.driver == "hand" ? place.optional_text("address") : place.text("address");
  if (const auto table = place.optional_at("accuracy"))
    for (const Place& item : table->items()) out.accuracy.push_back(load_accuracy_entry(item, ""));
  if (out.role == "supply") {
    out.max_voltage_V = place.number("max_voltage_V", {0.1, 100});
    out.max_current_A = place.number("max_current_A", {0.01, 100});
    out.channel = static_cast<int>(place.optional_number("channel", {1, 64}).value_or(0));
  }
  if (out.role == "meter" && out.accuracy.empty() && out.dialect.empty())
    place.refuse("accuracy",
                 "a meter needs its accuracy table: without it no reading has an uncertainty");
  place.done();
  return out;
}

std::map<std::string, std::string> load_map(Place& fixture, std::string_view key) {
  std::map<std::string, std::string> out;
  if (const auto place = fixture.optional_at(key))
    for (const auto& [name, value] : place->members()) out[name] = value.text();
  return out;
}

struct ReferenceKey {
  std::string_view plus, minus;
  Interval ohm, u_ohm;
};
constexpr ReferenceKey kReferenceKey{kReferencePlus, kReferenceMinus, {0.1, 1e6}, {0, 1e4}};
constexpr ReferenceKey kHighReferenceKey{
    kHighReferencePlus, kHighReferenceMinus, {1e6, 1e9}, {0, 1e8}};

std::optional<Estimate> load_reference(std::optional<Place> found, const ReferenceKey& kind,
                                       Fixture& out) {
  if (!found) return std::nullopt;
  Place place = *std::move(found);
  // A resistor that is held between two probes has no columns.
  if (const auto given = place.optional_at("columns")) {
    const auto columns = given->items();
    if (columns.size() != 2)
      place.refuse("columns", "two are wanted, one for each end of the resistor");
    out.columns[std::string(kind.plus)] = columns[0].text();
    out.columns[std::string(kind.minus)] = columns[1].text();
  }
  const Estimate value{place.number("ohm", kind.ohm), place.number("u_ohm", kind.u_ohm)};
  place.done();
  return value;
}

Fixture load_fixture(Place fixture) {
  Fixture out;
  out.rows = load_map(fixture, "rows");
  out.columns = load_map(fixture, "columns");
  out.elements = load_map(fixture, "elements");
  out.reference = load_reference(fixture.optional_at("reference"), kReferenceKey, out);
  out.high_reference =
      load_reference(fixture.optional_at("high_reference"), kHighReferenceKey, out);
  if (auto shunt = fixture.optional_at("shunt")) {
    out.shunt = {shunt->text("channel"), shunt->number("ohm", {1e-4, 100}),
                 shunt->number("u_ohm", {0, 10})};
    shunt->done();
  }
  out.probe_channel = fixture.optional_text("probe_channel");
  out.supply_channel = fixture.optional_text("supply_channel");
  out.kelvin = fixture.optional_boolean("kelvin", false);
  out.dwell_s = fixture.optional_number("dwell_s", {0.01, 10}).value_or(out.dwell_s);
  out.contact_u_ohm = fixture.optional_number("contact_u_ohm", {0, 10}).value_or(out.contact_u_ohm);
  out.clamp_V = fixture.optional_number("clamp_V", {0.3, 1000}).value_or(0);
  fixture.done();
  return out;
}

}  // namespace

const InstrumentDescription* Description::find(std::string_view role) const {
  const auto it = std::find_if(instruments.begin(), instruments.end(),
                               [role](const auto& i) { return i.role == role; });
  return it == instruments.end() ? nullptr : &*it;
}

InstrumentDescription* Description::find(std::string_view role) {
  return const_cast<InstrumentDescription*>(std::as_const(*this).find(role));
}

Description parse_description(std::string_view json, const std::string& file) {
  const Document document = Document::parse(json, file);
  Place root = document.root();
  expect_schema(root, "pinproof/bench/1");
  Description out;
  out.name = root.text("name");
  for (const Place& item : root.at("instruments").items()) {
    out.instruments.push_back(load_instrument(item));
    const auto same = [&](const auto& i) { return i.role == out.instruments.back().role; };
    if (std::count_if(out.instruments.begin(), out.instruments.end(), same) > 1)
      item.refuse("role", "role \"" + out.instruments.back().role + "\" stands twice");
  }
  if (auto fixture = root.optional_at("fixture")) out.fixture = load_fixture(*std::move(fixture));
  if (auto thermometer = root.optional_at("thermometer")) {
    out.thermometer_u_K = thermometer->number("u_celsius", {0, 10});
    thermometer->done();
  }
  root.word("lead_null", {"each-run"});
  out.time_scale = root.optional_number("time_scale", {1, 1e9}).value_or(1);
  root.done();
  return out;
}

Description load_description(const std::string& path) {
  return parse_description(read_file(path, kLargestFile), path);
}

std::string fingerprint(const Description& bench) {
  std::ostringstream out;
  out.imbue(std::locale::classic());
  out << std::setprecision(17);
  const Fixture& f = bench.fixture;
  for (const auto* named : {&f.rows, &f.columns, &f.elements}) {
    for (const auto& [name, place] : *named) out << name << '=' << place << '\n';
    out << '\n';  // the same entry under another heading is other wiring
  }
  for (const auto& known : {f.reference, f.high_reference})
    out << (known ? known->value : 0) << ' ' << (known ? known->u : 0) << '\n';
  out << f.kelvin << ' ' << f.shunt.channel << ' ' << f.shunt.ohm << ' ' << f.shunt.u_ohm << ' '
      << f.probe_channel << ' ' << f.supply_channel << ' ' << f.contact_u_ohm << ' ' << f.clamp_V
      << ' ' << bench.thermometer_u_K << '\n';
  for (const InstrumentDescription& i : bench.instruments) {
    out << i.role << ' ' << i.driver << ' ' << i.dialect << ' ' << i.channel << '\n';
    for (const metrology::AccuracyEntry& a : i.accuracy)
      out << a.function << ' ' << a.range << ' ' << a.over << ' ' << a.reading_ppm << ' '
          << a.range_ppm << ' ' << a.resolution << ' ' << a.two_wire_add_ohm << '\n';
  }
  return sha256_hex(out.str());
}

}  // namespace pinproof::bench
