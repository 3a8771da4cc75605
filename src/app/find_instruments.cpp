#include "app/find_instruments.h"

#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <optional>

#include "app/stop.h"
#include "link/link.h"
#include "quantity/error.h"
#include "quantity/file.h"
#include "scpi/dialect.h"

namespace pinproof::app {
namespace {

namespace fs = std::filesystem;
using Json = nlohmann::ordered_json;

const Duration kAnswer{1.0};
constexpr int kStale = 3;  // lines before the identity

struct Found {
  std::string address, identity, trouble;
  const scpi::Dialect* dialect = nullptr;  // that names this identity
};

// Serial ports by the name that stays when they are plugged in elsewhere.
std::vector<std::string> places() {
  std::vector<std::string> out;
  std::error_code none;
  for (const auto& entry : fs::directory_iterator("/dev/serial/by-id", none))
    for (const char* baud : {"9600", "115200"})
      out.push_back("serial://" + entry.path().string() + "?baud=" + baud);
  for (const auto& entry : fs::directory_iterator("/dev", none))
    if (entry.path().filename().string().starts_with("usbtmc"))
      out.push_back("usbtmc://" + entry.path().string());
  std::sort(out.begin(), out.end());
  return out;
}

Found ask(const std::string& address) {
  Found out{address, {}, {}};
  const bench::Patience patience(kAnswer, stop_token());
  try {
    const auto link = link::open_link(address);
    link->write("\n*IDN?\n", patience);
    for (int i = 0; i < kStale && out.identity.empty(); ++i) {
      const std::string line = link->read_line(500, patience);
      if (std::count(line.begin(), line.end(), ',') >= 2) out.identity = line;
    }
    if (out.identity.empty()) out.trouble = "answers, but not with an identity";
  } catch (const Error& e) {
    if (e.fault() == Fault::aborted || e.fault() == Fault::usage) throw;
    out.trouble = e.what();
  }
  return out;
}

std::string printable(const std::string& text) {
  std::string out;
  for (const char c : text.substr(0, 100)) out += c >= ' ' && c < 127 ? c : '?';
  return out;
}

Json proposal(const std::vector<Found>& all) {
  Json bench{{"schema", "pinproof/bench/1"}, {"name", "my bench"}, {"instruments", Json::array()}};
  const auto has = [&](const std::string& role) {
    return std::any_of(bench["instruments"].begin(), bench["instruments"].end(),
                       [&](const Json& i) { return i["role"] == role; });
  };
  for (const Found& one : all) {
    if (!one.dialect || has(one.dialect->role())) continue;
    Json i{{"role", one.dialect->role()},
           {"driver", "scpi"},
           {"dialect", one.dialect->name()},
           {"address", one.address}};
    if (one.dialect->role() == "supply") {
      i["max_voltage_V"] = 15;
      i["max_current_A"] = 2;
      if (one.dialect->has("select")) i["channel"] = 1;
    }
    bench["instruments"].push_back(i);
  }
  if (!has("matrix")) {
    bench["instruments"].push_back({{"role", "probes"}, {"driver", "hand"}});
    bench["instruments"].push_back({{"role", "actuator"}, {"driver", "hand"}});
    bench["fixture"] = {{"reference", {{"ohm", 100.0}, {"u_ohm", 0.1}}}};
  }
  bench["thermometer"] = {{"u_celsius", 1.0}};
  bench["lead_null"] = "each-run";
  return bench;
}

void tell(const Found& one) {
  std::printf("%s\n", one.address.c_str());
  if (one.identity.empty())
    std::printf("    nothing: %s\n", printable(one.trouble).c_str());
  else
    std::printf("    %s\n    %s\n", printable(one.identity).c_str(),
                one.dialect ? ("dialect " + one.dialect->name()).c_str()
                            : "no dialect names it: try scpi-meter or scpi-supply, or write one");
}

}  // namespace

int find_instruments(const FindOptions& options) {
  const auto dialects = scpi::load_dialects(options.dialects);
  std::vector<std::string> where = places();
  where.insert(where.end(), options.addresses.begin(), options.addresses.end());
  std::vector<Found> all;
  Json out = Json::array();
  for (const std::string& address : where) {
    Found one = ask(address);
    for (const scpi::Dialect& dialect : dialects)
      if (!one.identity.empty() && dialect.names_instruments() && dialect.fits(one.identity))
        one.dialect = &dialect;
    out.push_back({{"address", one.address},
                   {"identity", printable(one.identity)},
                   {"dialect", one.dialect ? one.dialect->name() : ""},
                   {"trouble", printable(one.trouble)}});
    if (!options.json) tell(one);
    all.push_back(std::move(one));
  }
  if (options.json) std::printf("%s\n", out.dump(2).c_str());
  if (where.empty() && !options.json)
    std::printf(
        "No serial port and no USB instrument here. Network instruments: --address "
        "tcp://HOST:PORT\n");
  const bool any =
      std::any_of(all.begin(), all.end(), [](const Found& f) { return !f.identity.empty(); });
  if (!options.write.empty()) {
    if (!any) throw Error(Fault::bench, "nothing answered: no bench file is written");
    write_file(options.write, proposal(all).dump(2) + "\n");
    if (!options.json)
      std::printf(
          "%s: a bench file to start from. Look at its limits, then: pinproof bench --bench %s\n",
          options.write.c_str(), options.write.c_str());
  }
  return any ? 0 : exit_code(Fault::bench);
}

}  // namespace pinproof::app
