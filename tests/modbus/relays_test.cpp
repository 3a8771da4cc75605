// The relay driver against a slave that we did not write: pymodbus, over TCP and,
// through socat's pseudo-terminals, as RTU. mbpoll, a third program, looks at the
// coils that the driver has closed.
#include "modbus/relays.h"

#include <doctest/doctest.h>
#include <signal.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <chrono>
#include <cstdio>
#include <filesystem>
#include <stdexcept>
#include <thread>

#include "paths.h"
#include "quantity/error.h"

using namespace pinproof;

namespace {

const bench::Patience kPatience{Duration{2}};

class Program {
 public:
  explicit Program(std::vector<std::string> words) {
    std::vector<char*> argv;
    for (std::string& word : words) argv.push_back(word.data());
    argv.push_back(nullptr);
    if (::posix_spawnp(&pid_, argv[0], nullptr, nullptr, argv.data(), ::environ) != 0)
      throw std::runtime_error(words.front() + " is not installed");
  }
  ~Program() {
    ::kill(pid_, SIGKILL);
    ::waitpid(pid_, nullptr, 0);
  }
  Program(const Program&) = delete;
  Program& operator=(const Program&) = delete;

 private:
  pid_t pid_ = -1;
};

bench::Description description(const std::string& address) {
  return bench::parse_description(
      R"({"schema":"pinproof/bench/1","name":"relays","instruments":[{"role":"matrix","driver":"modbus","address":")" +
          address +
          R"("}],"fixture":{"rows":{"force_high":"0","force_low":"64"},"columns":{"1":"1","2":"5","case":"21"}},"lead_null":"each-run"})",
      "bench.json");
}

std::unique_ptr<bench::Paths> open(const std::string& address) {
  const auto bench = description(address);
  for (int i = 0;; ++i) {
    bench::Instruments instruments;
    try {
      modbus::install(bench.instruments.front(), bench, kPatience, instruments);
      return std::move(instruments.paths);
    } catch (const Error&) {
      if (i == 100) throw;  // the slave needs a second to start
      std::this_thread::sleep_for(std::chrono::milliseconds(100));
    }
  }
}

// What mbpoll says of the coils 0 to 99, as a text of noughts and ones.
std::string coils(const std::string& port) {
  const std::unique_ptr<std::FILE, int (*)(std::FILE*)> pipe(
      ::popen(("mbpoll -m tcp -p " + port + " -a 1 -t 0 -r 1 -c 100 -1 127.0.0.1").c_str(), "r"),
      &::pclose);
  std::string out;
  std::array<char, 200> line{};
  while (std::fgets(line.data(), line.size(), pipe.get())) {
    const std::string text(line.data());
    if (const auto at = text.find("]:"); at != std::string::npos && text[0] == '[')
      out += text.find('1', at) == std::string::npos ? '0' : '1';
  }
  return out;
}

std::string with(std::initializer_list<std::size_t> closed) {
  std::string out(100, '0');
  for (const std::size_t coil : closed) out[coil] = '1';
  return out;
}

const std::string kSlave = pinproof::tests::source_dir() + "/tests/modbus/slave.py";

}  // namespace

TEST_CASE("relays of a pymodbus slave over TCP, with mbpoll as the witness") {
  const Program slave({"/usr/bin/python3", kSlave, "tcp", "19880"});
  const auto paths = open("modbus-tcp://127.0.0.1:19880");
  CHECK(paths->can_tie());
  CHECK_FALSE(paths->can_drive());
  paths->connect_meter({{"1"}, {"case"}}, false, Resistance{13}, kPatience);
  CHECK(coils("19880") == with({1, 85}));
  paths->connect_meter({{"1", "2"}, {"case"}}, false, Resistance{13}, kPatience);
  CHECK(coils("19880") == with({1, 5, 85}));
  paths->connect_meter({{"2"}, {"1"}}, false, Resistance{13}, kPatience);
  CHECK(coils("19880") == with({5, 65}));
  paths->open_all(kPatience);
  CHECK(coils("19880") == with({}));
  CHECK_THROWS_WITH_AS(paths->connect_meter({{"7"}, {"1"}}, false, Resistance{13}, kPatience),
                       doctest::Contains("no column for \"7\""), Error);
}

TEST_CASE("a relay that does not do as it is told is a bench fault") {
  const Program slave({"/usr/bin/python3", kSlave, "tcp", "19881", "stuck"});
  const auto paths = open("modbus-tcp://127.0.0.1:19881");
  CHECK_THROWS_WITH_AS(paths->connect_meter({{"2"}, {"1"}}, false, Resistance{13}, kPatience),
                       doctest::Contains("relay 5 was told to close"), Error);
}

TEST_CASE("relays over RTU on a pseudo-terminal") {
  const auto folder = std::filesystem::temp_directory_path();
  const std::string ours = (folder / ("pinproof-mb-a" + std::to_string(::getpid()))).string();
  const std::string theirs = (folder / ("pinproof-mb-b" + std::to_string(::getpid()))).string();
  const Program cable({"socat", "pty,rawer,link=" + ours, "pty,rawer,link=" + theirs});
  for (int i = 0; i < 100 && !std::filesystem::exists(theirs); ++i)
    std::this_thread::sleep_for(std::chrono::milliseconds(20));
  const Program slave({"/usr/bin/python3", kSlave, "rtu", theirs});
  const auto paths = open("modbus-rtu://" + ours + "?baud=9600");
  paths->connect_meter({{"1"}, {"case"}}, false, Resistance{13}, kPatience);
  paths->connect_meter({{"2"}, {"1"}}, false, Resistance{13}, kPatience);
  paths->open_all(kPatience);
}

TEST_CASE("nobody there, and addresses that cannot be") {
  const auto refused = [](const std::string& address) {
    const auto bench = description(address);
    bench::Instruments instruments;
    try {
      modbus::install(bench.instruments.front(), bench, kPatience, instruments);
    } catch (const Error& e) {
      return e.fault();
    }
    return Fault::aborted;
  };
  CHECK(refused("modbus-tcp://127.0.0.1:1") == Fault::bench);
  for (const char* address : {"modbus-tcp://", "modbus-tcp://h:x", "modbus-rtu://ttyUSB0",
                              "modbus-rtu:///dev/null?parity=some", "modbus-tcp://h:502?unit=900",
                              "modbus-tcp://h:502?speed=9"})
    CHECK(refused(address) == Fault::usage);
}
