// The simulated instruments over real sockets, by the rules of IEEE 488.2 and
// SCPI-99.
#include <doctest/doctest.h>

#include <nlohmann/json.hpp>

#include "link/link.h"
#include "paths.h"
#include "profile/load.h"
#include "quantity/error.h"
#include "simulated/faults.h"
#include "simulated/server.h"

using namespace pinproof;

namespace {

struct Rig {
  explicit Rig(const std::string& name = "six-speed-20-pin", std::vector<std::string> with = {})
      : profile_name(name), faults(std::move(with)) {
    bench.start();
  }
  std::string profile_name;
  std::vector<std::string> faults;
  simulated::SimulatedBench bench{
      {.profile = profile::load_profile(pinproof::tests::source_dir() + "/profiles/" +
                                        profile_name + ".json"),
       .seed = 1,
       .faults = faults,
       .speed = 0,
       .first_port = 0,
       .dialect_folder = pinproof::tests::source_dir() + "/drivers/dialects"}};
  std::unique_ptr<link::Link> open(const std::string& role) {
    const auto file = nlohmann::json::parse(bench.bench_file());
    for (const auto& one : file.at("instruments"))
      if (one.at("role") == role) return link::open_link(one.at("address"));
    return nullptr;
  }
};

const bench::Patience kPatience{Duration{5}};

std::string ask(link::Link& link, const std::string& message) {
  link.write(message + "\n", kPatience);
  return link.read_line(100000, kPatience);
}

// IEEE 754, most significant byte first: an exponent of all ones is infinity or
// not a number.
bool all_finite(const std::string& block) {
  for (std::size_t k = 0; k + 1 < block.size(); k += 4) {
    const auto exponent = ((static_cast<unsigned char>(block[k]) & 0x7f) << 1) |
                          (static_cast<unsigned char>(block[k + 1]) >> 7);
    if (exponent == 255) return false;
  }
  return true;
}

}  // namespace

// Source: SCPI-99 vol. 2, 21.8.9 to 21.8.11, command, execution and query errors.
TEST_CASE("errors by their numbers, first in first out") {
  Rig rig;
  const auto meter = rig.open("meter");
  meter->write("FOO:BAR\n", kPatience);
  meter->write("RES:NPLC\n", kPatience);
  meter->write("CONF:RES 100,5,5\n", kPatience);
  meter->write("CONF:RES many\n", kPatience);
  meter->write("CONF:RES 1E12\n", kPatience);
  for (const char* code : {"-113,", "-109,", "-108,", "-104,", "-222,", "+0,"})
    CHECK(ask(*meter, "SYST:ERR?").starts_with(code));
  // Source: SCPI-99 vol. 2, 21.8.1: an overflow replaces the last entry by -350.
  for (int i = 0; i < 30; ++i) meter->write("FOO\n", kPatience);
  int errors = 0;
  std::string last;
  for (std::string reply = ask(*meter, "SYST:ERR?"); !reply.starts_with("+0");
       reply = ask(*meter, "SYST:ERR?"))
    ++errors, last = reply;
  CHECK(errors == 20);
  CHECK(last == "-350,\"Queue overflow\"");
}

// Source: IEEE 488.2 10 and 11 (common commands, status), SCPI-99 vol. 1 6.2.4 (header paths).
TEST_CASE("common commands, status and compound messages") {
  Rig rig;
  const auto meter = rig.open("meter");
  CHECK(ask(*meter, "*IDN?").find("SIMULATED METER") != std::string::npos);
  CHECK(ask(*meter, "*OPC?") == "1");
  CHECK(ask(*meter, "*ESR?") == "0");
  meter->write("FOO\n", kPatience);
  CHECK(ask(*meter, "*STB?") == "4");   // error queue not empty
  CHECK(ask(*meter, "*ESR?") == "32");  // command error
  CHECK(ask(*meter, "*ESR?") == "0");   // reading clears it
  meter->write("*CLS\n", kPatience);
  CHECK(ask(*meter, "SYST:ERR?").starts_with("+0"));
  CHECK(ask(*meter, "*OPC?;*OPC?") == "1;1");
  // After SENS:RES:NPLC the path is SENS:RES, common commands leave it alone, a colon leads back to
  // the root.
  CHECK(ask(*meter, "SENS:RES:NPLC 1;*OPC?;NPLC 10;:SYST:ERR?") == "1;+0,\"No error\"");
  CHECK(ask(*meter, "sense:resistance:nplcycles +1.0E0;:syst:err:next?").starts_with("+0"));
  CHECK(ask(*meter, "SENS:RES:NPLC 1;CONF:RES 100;:SYST:ERR?").starts_with("-113"));
}

// Source: IEEE 488.2 8.7.9, definite length arbitrary block response data.
TEST_CASE(
    "a sweep comes as a block of as many floats as were asked for; a stale one does not come") {
  Rig rig;
  const auto digitiser = rig.open("digitiser");
  const auto supply = rig.open("supply");
  CHECK(ask(*digitiser, "FETC? (@101);:SYST:ERR?").starts_with("-230"));
  CHECK(ask(*digitiser, "FORM REAL,32;:SWE:POIN 500;TINT 2E-5;OFFS:POIN -50;:INIT;:SYST:ERR?")
            .starts_with("+0"));
  CHECK(ask(*supply, "CURR 1;:VOLT 5;:PULS:WIDT 0.005;:INIT;*OPC?") == "1");
  digitiser->write("FETC? (@103)\n", kPatience);
  CHECK(digitiser->read_exactly(6, kPatience) == "#42000");
  CHECK(all_finite(digitiser->read_exactly(2000, kPatience)));
  CHECK(digitiser->read_line(10, kPatience).empty());
}

TEST_CASE("a pulse into an open coil is a sweep of numbers, with no current in it") {
  Rig rig("four-speed-13-pin", {"coil S1: open"});
  const auto digitiser = rig.open("digitiser");
  const auto supply = rig.open("supply");
  const auto matrix = rig.open("matrix");
  CHECK(ask(*matrix, "ROUT:CLOS (@5!1,6!14,7!1,8!14);*OPC?") == "1");
  CHECK(ask(*digitiser, "FORM REAL,32;:SWE:POIN 2500;TINT 2E-5;OFFS:POIN -50;:INIT;:SYST:ERR?")
            .starts_with("+0"));
  CHECK(ask(*supply, "CURR 1;:VOLT 13.5;:PULS:WIDT 0.02;:INIT;*OPC?") == "1");
  for (const char* channel : {"101", "102", "103"}) {
    digitiser->write(std::string("FETC? (@") + channel + ")\n", kPatience);
    CHECK(digitiser->read_exactly(7, kPatience) == "#510000");
    CHECK(all_finite(digitiser->read_exactly(10000, kPatience)));
    CHECK(digitiser->read_line(10, kPatience).empty());
  }
}

TEST_CASE("limits of the supply and of the relays are kept") {
  Rig rig;
  const auto supply = rig.open("supply");
  CHECK(ask(*supply, "VOLT 13.5;:VOLT 31;:VOLT?") == "+1.35000000E+01");
  CHECK(ask(*supply, "SYST:ERR?").starts_with("-222"));
  CHECK(ask(*supply, "OUTP?") == "0");
  CHECK(ask(*supply, "OUTP ON;OUTP?") == "1");
  CHECK(ask(*supply, "OUTP OFF;OUTP?") == "0");
  const auto matrix = rig.open("matrix");
  CHECK(ask(*matrix, "ROUT:CLOS (@1!1,2!21);:ROUT:CLOS? (@1!1,2!21,3!1)") == "1,1,0");
  CHECK(ask(*matrix, "ROUT:OPEN:ALL;:ROUT:CLOS? (@1!1)") == "0");
  CHECK(ask(*matrix, "ROUT:CLOS (@9!1);:SYST:ERR?").starts_with("-222"));
}

TEST_CASE("bytes that are no commands do no harm") {
  Rig rig;
  const auto meter = rig.open("meter");
  std::string noise;
  for (int i = 1; i < 256; ++i)
    if (i != '\n') noise += static_cast<char>(i);
  meter->write(noise + "\n;;;\n:\n*\n?\n\"\n", kPatience);
  CHECK(ask(*meter, "*CLS;*OPC?") == "1");
}

TEST_CASE("fault texts: what is wrong and what is allowed") {
  const auto profile =
      profile::load_profile(pinproof::tests::source_dir() + "/profiles/four-speed-13-pin.json");
  const auto refusal = [&](const std::string& text) -> std::string {
    try {
      (void)simulated::parse_fault(profile, text);
      return "";
    } catch (const Error& e) {
      return e.what();
    }
  };
  CHECK(simulated::parse_fault(profile, "coil S1: joint").size == doctest::Approx(3));
  CHECK(simulated::parse_fault(profile, "coil S1: shorted-turns 12%").size == doctest::Approx(12));
  CHECK(refusal("coil S9: open").find("is not \"pack\"") != std::string::npos);
  CHECK(refusal("coil S1: tired").find("known are open, shorted") != std::string::npos);
  CHECK(refusal("coil S1: joint 3 V").find("allowed is") != std::string::npos);
  CHECK(refusal("coil S1: case-leak").find("ends at the case") != std::string::npos);
  CHECK(refusal("coil S1: suppression-missing").find("no suppression in the profile") !=
        std::string::npos);
  CHECK(refusal("pin E: bridge E").find("another pin") != std::string::npos);
  CHECK(refusal("nonsense").find("TARGET: CLASS") != std::string::npos);
}
