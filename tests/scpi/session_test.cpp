// Our client against a peer that does what instruments do wrong. No trap may
// give a wrong number: a right one or an error.
#include "paths.h"
#include "scpi/session.h"

#include <doctest/doctest.h>

#include "link/peer.h"
#include "quantity/error.h"

using namespace pinproof;
using tests::Peer;

namespace {

const bench::Patience kSoon{Duration{0.3}};

scpi::Session session(const Peer& peer, const std::string& dialect = "scpi-meter") {
  return {"meter", link::open_link(peer.address()),
          scpi::Dialect::load(pinproof::tests::source_dir() + "/drivers/dialects/" + dialect +
                              ".json")};
}

// A sane instrument but for one reply.
Peer::Answer but(std::string question, std::string reply) {
  return [question = std::move(question),
          reply = std::move(reply)](const std::string& line) -> std::string {
    if (line.find(question) != std::string::npos) return reply;
    if (line.find("*OPC?") != std::string::npos) return "1\n";
    if (line.find("ERR?") != std::string::npos) return "+0,\"No error\"\n";
    return "";
  };
}

scpi::Number read(const std::string& reply) {
  Peer peer(but("READ?", reply));
  auto s = session(peer);
  return s.ask_number("read", {}, kSoon);
}

}  // namespace

TEST_CASE("numbers as instruments send them") {
  CHECK(read("+5.21370000E+00\n").value == 5.2137);
  CHECK(read("-1.5E-3\r\n").value == -0.0015);
  CHECK(read("13\n").value == 13);
}

// Source: SCPI-99 vol. 1, 7.2.1.4 and 7.2.1.5.
TEST_CASE("overload is known by magnitude, not a number by its own mark") {
  CHECK(read("+9.9E37\n").overload);
  CHECK(read("+9.90000000E+37\n").overload);
  CHECK(read("-9.9E+37\n").overload);
  CHECK(read("1.0E38\n").overload);
  CHECK_THROWS_AS(read("9.91E37\n"), Error);
  CHECK_THROWS_AS(read("+9.91000000E+37\n"), Error);
}

TEST_CASE("garbage is named, never parsed in part") {
  for (const char* reply : {"\n", "5.2137 OHM\n", "5,2137\n", "nan\n", "inf\n", "0x10\n", "5.2;6\n",
                            "\xff\xfe\xfd\n", "++5\n", "5.2 \n"})
    CHECK_THROWS_WITH_AS(read(reply), doctest::Contains("one number is wanted"), Error);
}

TEST_CASE("an instrument that never answers is told with its address and message") {
  Peer peer([](const std::string&) { return std::string(); });
  auto s = session(peer);
  CHECK_THROWS_WITH_AS(s.ask_number("read", {}, kSoon), doctest::Contains("READ?: tcp://127.0.0.1"),
                       Error);
}

TEST_CASE("operation complete is 1; 0 means busy and is asked again; anything else is refused") {
  for (const char* wrong : {"7\n", "yes\n", "+5.2E0\n", "\n"}) {
    Peer peer(but("*OPC?", wrong));
    auto s = session(peer);
    CHECK_THROWS_WITH_AS(s.command("ohm_2w", {{"range", 100.0}}, kSoon),
                         doctest::Contains("1 (operation complete) is wanted"), Error);
  }
  Peer never(but("*OPC?", "0\n"));
  auto stuck = session(never);
  CHECK_THROWS_WITH_AS(stuck.command("ohm_2w", {{"range", 100.0}}, kSoon),
                       doctest::Contains("still busy"), Error);
  int asked = 0;
  Peer slow([&asked](const std::string& line) -> std::string {
    if (line.find("ERR?") != std::string::npos) return "0,\"No error\"\n";
    return line.find("*OPC?") != std::string::npos ? (++asked < 4 ? "0\n" : "1\n") : "";
  });
  auto patient = session(slow);
  patient.command("ohm_2w", {{"range", 100.0}}, bench::Patience{Duration{5}});
  CHECK(asked == 4);
}

TEST_CASE("an error in the queue belongs to the step") {
  int errors = 1;
  Peer peer([&errors](const std::string& line) -> std::string {
    if (line.find("ERR?") != std::string::npos)
      return errors-- > 0 ? "-222,\"Data out of range\"\n" : "0,\"No error\"\n";
    return line.find("*OPC?") != std::string::npos ? "1\n" : "";
  });
  auto s = session(peer);
  CHECK_THROWS_WITH_AS(s.command("ohm_2w", {{"range", 100.0}}, kSoon),
                       doctest::Contains("CONF:RES 100: the instrument reports -222"), Error);
}

TEST_CASE("an error queue that never empties does not hang the bench") {
  Peer peer(but("ERR?", "-350,\"Queue overflow\"\n"));
  auto s = session(peer);
  CHECK_THROWS_WITH_AS(s.command("ohm_2w", {{"range", 100.0}}, kSoon),
                       doctest::Contains("never empties"), Error);
}

// Source: IEEE 488.2 8.7.9, definite length arbitrary block response data.
TEST_CASE("blocks") {
  const std::string one_and_two("\x3f\x80\x00\x00\x40\x00\x00\x00", 8);
  const auto fetch = [](const std::string& reply) {
    Peer peer(but("FETC?", reply));
    auto s = session(peer, "scpi-digitiser");
    return s.ask_floats("fetch", {{"channels", std::vector<std::string>{"101"}}}, 100, kSoon);
  };
  CHECK(fetch("#18" + one_and_two + "\n") == std::vector<double>{1, 2});
  CHECK(fetch("#800000008" + one_and_two + "\r\n") == std::vector<double>{1, 2});
  CHECK(fetch("#10\n").empty());
  CHECK_THROWS_AS(fetch("#0" + one_and_two + "\n"), Error);   // no length: cannot be trusted
  CHECK_THROWS_AS(fetch("#17" + one_and_two + "\n"), Error);  // not whole floats
  CHECK_THROWS_AS(fetch("#3401" + std::string(401, 'x') + "\n"), Error);  // longer than asked
  CHECK_THROWS_AS(fetch("#216" + one_and_two + "\n"), Error);     // shorter than it says: time-out
  CHECK_THROWS_AS(fetch("#18" + one_and_two + "more\n"), Error);  // longer than it says
  CHECK_THROWS_AS(fetch("1.0,2.0\n"), Error);
}
