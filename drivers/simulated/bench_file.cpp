#include "simulated/bench_file.h"

#include <nlohmann/json.hpp>

#include "simulated/instruments.h"

namespace pinproof::simulated {
namespace {

using Json = nlohmann::ordered_json;

Json ohm_accuracy(const scpi::Dialect& dialect, const std::string& source) {
  Json out = Json::array();
  for (const auto& [function, operation] : {std::pair{"ohm-4w", "ohm_4w"}, {"ohm-2w", "ohm_2w"}})
    for (const OhmRange& r : ohm_ranges())
      if (dialect.has(operation))
        out.push_back({{"function", function},
                       {"range", r.range},
                       {"over", kOver},
                       {"reading_ppm", r.reading_ppm},
                       {"range_ppm", r.range_ppm},
                       {"test_current_A", r.test_A},
                       {"source", source}});
  return out;
}

Json accuracy_of(const scpi::Dialect& dialect) {
  const std::string source = "invented for the demo";
  if (dialect.role() == "meter") return ohm_accuracy(dialect, source);
  Json out = Json::array();
  if (dialect.role() == "digitiser")
    for (const double r : digitiser_ranges())
      out.push_back({{"function", "volt"},
                     {"range", r},
                     {"over", 1.0},
                     {"reading_ppm", kDigitiserReading_ppm},
                     {"range_ppm", kDigitiserRange_ppm},
                     {"source", source}});
  return out;
}

Json instrument(const Served& one) {
  Json out{{"role", one.role},
           {"driver", "scpi"},
           {"dialect", one.dialect->name()},
           {"address", one.address}};
  if (Json accuracy = accuracy_of(*one.dialect); !accuracy.empty()) out["accuracy"] = accuracy;
  if (one.role == "supply")
    out["max_voltage_V"] = kMaxSupply_V, out["max_current_A"] = kMaxSupply_A;
  if (one.dialect->has("select")) out["channel"] = 1;
  return out;
}

Json instruments(const SimulationOptions& options, const std::vector<Served>& served,
                 const std::string& relays) {
  Json out = Json::array();
  const bool by_hand = options.bench_by == "hand";
  for (const Served& one : served) {
    if (by_hand && one.role != "meter") continue;
    if (one.role == "matrix" && options.bench_by == "modbus")
      out.push_back({{"role", "matrix"}, {"driver", "modbus"}, {"address", relays}});
    else
      out.push_back(instrument(one));
  }
  if (by_hand) {
    out.push_back({{"role", "probes"}, {"driver", "hand"}});
    out.push_back({{"role", "actuator"}, {"driver", "hand"}});
  }
  return out;
}

Json fixture(const SimulationOptions& options, const World& world, const scpi::Dialect& matrix) {
  Json out;
  const char* rows[] = {"force_high", "force_low", "sense_high", "sense_low",
                        "drive_high", "drive_low", "probe_high", "probe_low"};
  for (std::size_t i = 0; i < World::kRowCount; ++i)
    out["rows"][rows[i]] =
        options.bench_by == "modbus" ? std::to_string(i * kRelaysPerRow) : row_name(matrix, i + 1);
  std::size_t n = 0;
  for (const auto& pin : world.profile().connector.pins)
    out["columns"][pin.number] = std::to_string(++n);
  out["columns"]["case"] = std::to_string(++n);
  out["reference"] = {{"columns", {std::to_string(n + 1), std::to_string(n + 2)}},
                      {"ohm", 100.0},
                      {"u_ohm", 0.005}};
  out["high_reference"] = {
      {"columns", {std::to_string(n + 3), std::to_string(n + 4)}}, {"ohm", 1e7}, {"u_ohm", 1e4}};
  out["shunt"] = {{"channel", "102"}, {"ohm", 0.1}, {"u_ohm", 0.0001}};
  out["probe_channel"] = "101";
  out["supply_channel"] = "103";
  out["clamp_V"] = World::kClamp_V;
  n = 0;
  out["elements"] = Json::object();
  for (const std::string& element : world.elements())
    out["elements"][element] = std::to_string(++n);
  return out;
}

}  // namespace

std::string bench_file(const SimulationOptions& options, const World& world,
                       const std::vector<Served>& served, const std::string& relays) {
  Json out;
  out["schema"] = "pinproof/bench/1";
  out["name"] = "simulated bench";
  out["instruments"] = instruments(options, served, relays);
  for (const Served& one : served) {
    if (one.role == "matrix") out["fixture"] = fixture(options, world, *one.dialect);
    if (one.role == "digitiser" && one.dialect->has("waveform")) {
      // A scope's channels are numbered 1, 2, 3.
      out["fixture"]["shunt"]["channel"] = "2";
      out["fixture"]["probe_channel"] = "1";
      out["fixture"]["supply_channel"] = "3";
    }
  }
  if (options.bench_by == "hand")
    out["fixture"] = {{"reference", {{"ohm", 100.0}, {"u_ohm", 0.005}}},
                      {"high_reference", {{"ohm", 1e7}, {"u_ohm", 1e4}}},
                      // Of contacts between 30 and 80 mohm, two in the null and two in the reading.
                      {"contact_u_ohm", 0.02}};
  out["thermometer"] = {{"u_celsius", options.bench_by == "hand" ? 0.5 : 0.3}};
  out["lead_null"] = "each-run";
  out["time_scale"] = options.speed > 0 ? std::max(1.0, options.speed) : 1e9;
  return out.dump(1) + "\n";
}

}  // namespace pinproof::simulated
