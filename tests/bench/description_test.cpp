#include "bench/description.h"

#include <doctest/doctest.h>

#include <nlohmann/json.hpp>

#include "quantity/error.h"

using namespace pinproof;
using nlohmann::json;

namespace {

json sample() {
  return json::parse(R"({"schema":"pinproof/bench/1","name":"corner bench",
    "instruments":[{"role":"meter","driver":"scpi","dialect":"scpi-meter","address":"tcp://127.0.0.1:5025",
      "accuracy":[{"function":"ohm-4w","range":100,"over":1.2,"reading_ppm":100,"range_ppm":40,"source":"invented for the demo"}]},
      {"role":"supply","driver":"scpi","dialect":"scpi-supply","address":"tcp://127.0.0.1:5026","max_voltage_V":30,"max_current_A":5}],
    "fixture":{"rows":{"force_high":"1"},"columns":{"1":"1","case":"21"},"reference":{"columns":["22","23"],"ohm":100.0,"u_ohm":0.005}},
    "thermometer":{"u_celsius":0.3},"lead_null":"each-run"})");
}

std::string refusal(const json& edited) {
  try {
    (void)bench::parse_description(edited.dump(), "bench.json");
    return "";
  } catch (const Error& e) {
    return e.what();
  }
}

}  // namespace

TEST_CASE("a bench that is wired otherwise is another one, one at another address is not") {
  const auto print = [](const json& file) {
    return bench::fingerprint(bench::parse_description(file.dump(), "bench.json"));
  };
  const std::string was = print(sample());
  CHECK(was == print(sample()));
  json moved = sample();
  moved["instruments"][0]["address"] = "tcp://127.0.0.1:6000";
  CHECK(print(moved) == was);
  for (const char* where : {"/fixture/columns/1", "/fixture/rows/force_high"}) {
    json other = sample();
    other[json::json_pointer(where)] = "2";
    CHECK(print(other) != was);
  }
  json other = sample();
  other["fixture"]["reference"]["ohm"] = 100.1;
  CHECK(print(other) != was);
  other = sample();
  other["instruments"][0]["accuracy"][0]["reading_ppm"] = 99;
  CHECK(print(other) != was);
  other = sample();
  other["fixture"]["clamp_V"] = 33;
  CHECK(print(other) != was);
  other = sample();
  other["fixture"]["elements"]["x"] = other["fixture"]["columns"]["case"];
  const std::string valve = print(other);
  other["fixture"]["columns"]["x"] = other["fixture"]["elements"]["x"];
  other["fixture"].erase("elements");
  CHECK(print(other) != valve);
}

TEST_CASE("a bench file") {
  const auto bench = bench::parse_description(sample().dump(), "bench.json");
  CHECK(bench.name == "corner bench");
  REQUIRE(bench.find("meter"));
  CHECK(bench.find("meter")->accuracy.size() == 1);
  CHECK(bench.find("digitiser") == nullptr);
  CHECK(bench.fixture.columns.at("reference-") == "23");
  CHECK(bench.thermometer_u_K == 0.3);
  CHECK(bench.time_scale == 1);
  CHECK(bench.fixture.clamp_V == 0);
  json clamped = sample();
  clamped["fixture"]["clamp_V"] = 33;
  CHECK(bench::parse_description(clamped.dump(), "bench.json").fixture.clamp_V == 33);
  clamped["fixture"]["clamp_V"] = -33;
  CHECK(refusal(clamped).find("/fixture/clamp_V") != std::string::npos);
}

TEST_CASE("bench files that are refused") {
  json two = sample();
  two["instruments"].push_back(two["instruments"][0]);
  CHECK(refusal(two).find("/instruments/2/role") != std::string::npos);
  json blind = sample();
  blind["instruments"][0].erase("accuracy");
  blind["instruments"][0].erase("dialect");
  CHECK(refusal(blind).find("accuracy") != std::string::npos);
  json bold = sample();
  bold["instruments"][1].erase("max_current_A");
  CHECK(refusal(bold).find("max_current_A: missing") != std::string::npos);
  json role = sample();
  role["instruments"][1]["role"] = "oven";
  CHECK(refusal(role).find("oven") != std::string::npos);
  json column = sample();
  column["fixture"]["reference"]["columns"] = {"22"};
  CHECK(refusal(column).find("/fixture/reference/columns") != std::string::npos);
}
