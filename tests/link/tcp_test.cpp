#include <doctest/doctest.h>

#include <chrono>

#include "link/link.h"
#include "link/peer.h"
#include "quantity/error.h"

using namespace pinproof;
using tests::Peer;

namespace {

const bench::Patience kSoon{Duration{0.2}};
const bench::Patience kPatient{Duration{5}};

Fault fault_of(auto&& action) {
  try {
    action();
  } catch (const Error& e) {
    return e.fault();
  }
  return Fault::usage;  // what no link throws for an exchange
}

}  // namespace

TEST_CASE("addresses that cannot be read") {
  for (const char* address :
       {"", "tcp://", "tcp://:5", "tcp://host", "tcp://host:0", "tcp://host:70000", "tcp://host:5x",
        "tcp://host:5.5", "udp://host:5"})
    CHECK_THROWS_WITH_AS((void)link::open_link(address), doctest::Contains("tcp://HOST:PORT"),
                         Error);
}

TEST_CASE("line ends of every kind give the same line") {
  for (const char* end : {"\n", "\r\n", "\n\r"}) {
    Peer peer([end](const std::string&) { return std::string("+5.21E+00") + end; });
    const auto link = link::open_link(peer.address());
    for (int i = 0; i < 3; ++i) {
      link->write("READ?\n", kPatient);
      CHECK(link->read_line(100, kPatient) == "+5.21E+00");
    }
    CHECK(peer.connections() == 1);
  }
}

TEST_CASE("a late reply never answers the next question") {
  int asked = 0;
  Peer peer([&asked](const std::string& line) -> std::string {
    if (++asked == 1) {
      std::this_thread::sleep_for(std::chrono::milliseconds(400));
      return "late\n";
    }
    return "answer to " + line + "\n";
  });
  const auto link = link::open_link(peer.address());
  link->write("first\n", kPatient);
  CHECK(fault_of([&] { (void)link->read_line(100, kSoon); }) == Fault::timeout);
  link->write("second\n", kPatient);
  CHECK(link->read_line(100, kPatient) == "answer to second");
  CHECK(peer.connections() == 2);
}

TEST_CASE("half a line and a hang-up is a lost link, not a reply") {
  Peer peer([](const std::string&) { return std::string("+1.2") + Peer::kHangUp; });
  const auto link = link::open_link(peer.address());
  link->write("READ?\n", kPatient);
  CHECK(fault_of([&] { (void)link->read_line(100, kPatient); }) == Fault::bench);
}

TEST_CASE("a reply without end is cut off") {
  Peer peer([](const std::string&) { return std::string(100000, '7'); });
  const auto link = link::open_link(peer.address());
  link->write("READ?\n", kPatient);
  CHECK(fault_of([&] { (void)link->read_line(4096, kPatient); }) == Fault::bad_reply);
}

TEST_CASE("nobody listens") {
  const auto link = link::open_link("tcp://127.0.0.1:1");
  CHECK_THROWS_WITH_AS(link->write("X\n", kPatient), doctest::Contains("cannot connect"), Error);
}

TEST_CASE("a stop ends a wait at once") {
  Peer peer([](const std::string&) { return std::string(); });
  const auto link = link::open_link(peer.address());
  std::stop_source stop;
  const bench::Patience patience(Duration{30}, stop.get_token());
  link->write("READ?\n", patience);
  std::thread stopper([&stop] {
    std::this_thread::sleep_for(std::chrono::milliseconds(100));
    stop.request_stop();
  });
  const auto start = std::chrono::steady_clock::now();
  CHECK(fault_of([&] { (void)link->read_line(100, patience); }) == Fault::aborted);
  CHECK(std::chrono::steady_clock::now() - start < std::chrono::seconds(5));
  stopper.join();
  CHECK(fault_of([&] { link->write("X\n", patience); }) == Fault::aborted);
}

TEST_CASE("exact counts cross any split") {
  Peer peer(
      [](const std::string&) { return std::string("#15HELLO") + std::string(200000, 'x') + "\n"; });
  const auto link = link::open_link(peer.address());
  link->write("FETC?\n", kPatient);
  CHECK(link->read_exactly(3, kPatient) == "#15");
  CHECK(link->read_exactly(5, kPatient) == "HELLO");
  CHECK(link->read_exactly(200000, kPatient) == std::string(200000, 'x'));
  CHECK(link->read_line(10, kPatient).empty());
}
