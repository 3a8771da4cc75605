// Our client against a peer with bad habits that socat puts on a socket and on a
// pseudo-terminal. No habit may give a wrong number: the right one, an overload
// where it is one, or an error of the bench.
#include <doctest/doctest.h>
#include <signal.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <atomic>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <stdexcept>
#include <thread>
#include <tuple>
#include <vector>

#include "paths.h"
#include "quantity/error.h"
#include "scpi/instruments.h"

using namespace pinproof;

namespace {

// Each habit has a port and files of its own: they mostly wait, so several go side by side. A peer
// that is late is so by twice the patience (trap_peer.py).
constexpr int kPort = 19700;
constexpr unsigned kAtOnce = 5;
constexpr int kBlocks = 50;  // its port, beyond those of the habits
const bench::Patience kPatience{Duration{1}};

class Socat {
 public:
  explicit Socat(std::vector<std::string> words) {
    words.insert(words.begin(), "socat");
    std::vector<char*> argv;
    for (std::string& word : words) argv.push_back(word.data());
    argv.push_back(nullptr);
    if (::posix_spawnp(&pid_, "socat", nullptr, nullptr, argv.data(), ::environ) != 0)
      throw std::runtime_error("socat is not installed");
  }
  ~Socat() {
    ::kill(pid_, SIGTERM);
    ::waitpid(pid_, nullptr, 0);
  }
  Socat(const Socat&) = delete;
  Socat& operator=(const Socat&) = delete;

 private:
  pid_t pid_ = -1;
};

struct Outcome {
  std::optional<double> value;
  bool overload = false;
  std::string error;
  Fault fault = Fault::usage;
};

Outcome outcome_of(auto&& action) {
  Outcome out;
  try {
    const bench::ShownOhms shown = action();
    out.overload = shown.overload;
    if (!shown.overload) out.value = shown.value.si();
  } catch (const Error& e) {
    out.error = e.what();
    out.fault = e.fault();
  }
  return out;
}

std::unique_ptr<link::Link> eventually(const std::string& address) {
  for (int i = 0; i < 100; ++i) {
    auto link = link::open_link(address);
    try {
      link->write("\n", kPatience);
      return link;
    } catch (const Error&) {
      std::this_thread::sleep_for(std::chrono::milliseconds(20));
    }
  }
  return link::open_link(address);
}

scpi::Dialect dialect(const std::string& name) {
  return scpi::Dialect::load(pinproof::tests::source_dir() + "/drivers/dialects/" + name + ".json");
}

std::string temporary(const std::string& what, int number) {
  return (std::filesystem::temp_directory_path() /
          ("pinproof-" + what + "-" + std::to_string(::getpid()) + "-" + std::to_string(number)))
      .string();
}

// What socat starts; the files go with it.
class Peer {
 public:
  Peer(const std::string& habit, int number) : path_(temporary("trap", number) + ".sh") {
    if (std::FILE* file = std::fopen(path_.c_str(), "w")) {
      std::fprintf(file,
                   "#!/bin/sh\nexec /usr/bin/python3 %s/tests/scpi/trap_peer.py '%s' '%s.mark'\n",
                   pinproof::tests::source_dir().c_str(), habit.c_str(), path_.c_str());
      std::fclose(file);
    }
    std::filesystem::permissions(path_, std::filesystem::perms::owner_all);
  }
  ~Peer() {
    std::filesystem::remove(path_);
    std::filesystem::remove(path_ + ".mark");
  }
  Peer(const Peer&) = delete;
  Peer& operator=(const Peer&) = delete;
  std::string words() const { return "EXEC:" + path_; }

 private:
  std::string path_;
};

std::vector<std::string> listening(const Peer& peer, int port) {
  return {"tcp-listen:" + std::to_string(port) + ",bind=127.0.0.1,reuseaddr,fork,nodelay",
          peer.words()};
}

// Reads twice with the meter's own driver; after a failure the second must be right or fail too.
std::pair<Outcome, Outcome> read_twice(const std::string& habit, bool on_line, int number) {
  const Peer peer(habit, number);
  const std::string line = temporary("line", number);
  const Socat socat(on_line ? std::vector<std::string>{"pty,rawer,link=" + line, peer.words()}
                            : listening(peer, kPort + number));
  const std::string address =
      on_line ? "serial://" + line : "tcp://127.0.0.1:" + std::to_string(kPort + number);
  if (on_line)
    for (int i = 0; i < 100 && !std::filesystem::exists(line); ++i)
      std::this_thread::sleep_for(std::chrono::milliseconds(20));
  bench::Instruments instruments;
  Outcome first, second;
  const auto read = [&] { return instruments.meter->ohms(false, Resistance{1000}, kPatience); };
  first = outcome_of([&] {
    scpi::Session session("meter", eventually(address), dialect("scpi-meter"));
    session.open(bench::Patience{Duration{10}});
    scpi::kMeter.install(std::move(session), {}, {}, instruments);
    return read();
  });
  if (instruments.meter) {
    std::this_thread::sleep_for(std::chrono::milliseconds(100));
    second = outcome_of([&] {
      return instruments.meter->ohms(false, Resistance{1000}, bench::Patience{Duration{5}});
    });
  }
  return {first, second};
}

std::string text_of(const Outcome& o) {
  if (o.overload) return "overload";
  if (o.value) return std::to_string(*o.value);
  return o.error.empty() ? "-" : "bench fault";
}

struct Habit {
  const char* name;
  enum Wanted { right, overload, fault } wanted;
};

constexpr Habit kHabits[] = {{"none", Habit::right},
                             {"split reply", Habit::right},
                             {"CR LF", Habit::right},
                             {"LF CR", Habit::right},
                             {"*OPC? answers 0", Habit::right},
                             {"+9.9E37", Habit::overload},
                             {"-9.9E37", Habit::overload},
                             {"9.91E37", Habit::fault},
                             {"late reply", Habit::fault},
                             {"*OPC? answers 0 for ever", Habit::fault},
                             {"silence", Habit::fault},
                             {"error queue never empties", Habit::fault},
                             {"half a line", Habit::fault},
                             {"unplugged in mid-reply", Habit::fault},
                             {"OL", Habit::fault},
                             {"+1.0E+02,+2.0E+00", Habit::fault},
                             {"1.0,5", Habit::fault},
                             {"nan", Habit::fault},
                             {"inf", Habit::fault},
                             {"+1.0E+02 OHM", Habit::fault}};

struct Tried {
  Habit habit;
  bool on_line = false;
  Outcome first, second;
};

std::vector<Tried> all_habits() {
  std::vector<Tried> out;
  for (const bool on_line : {false, true})
    for (const Habit& habit : kHabits) out.push_back({habit, on_line, {}, {}});
  std::atomic<std::size_t> next{0};
  const auto work = [&] {
    for (std::size_t k = next++; k < out.size(); k = next++) try {
        std::tie(out[k].first, out[k].second) =
            read_twice(out[k].habit.name, out[k].on_line, static_cast<int>(k));
      } catch (const std::exception& e) {
        out[k].first.error = e.what();  // a fault of usage: the test's own
      }
  };
  std::vector<std::jthread> threads;
  for (unsigned k = 0; k < kAtOnce; ++k) threads.emplace_back(work);
  threads.clear();
  return out;
}

}  // namespace

TEST_CASE("no bad habit of an instrument gives a wrong number") {
  std::printf("%-28s %-16s %-14s %s\n", "habit", "over", "first reading", "second reading");
  for (const auto& [habit, on_line, first, second] : all_habits()) {
    std::printf("%-28s %-16s %-14s %s\n", habit.name, on_line ? "pseudo-terminal" : "TCP",
                text_of(first).c_str(), text_of(second).c_str());
    const std::string where = std::string(habit.name) +
                              (on_line ? " on a pseudo-terminal: " : " over TCP: ") + first.error;
    INFO(where);
    for (const Outcome& o : {first, second}) {
      if (o.value) CHECK(*o.value == 100);
      if (!o.error.empty()) CHECK(o.fault != Fault::usage);
    }
    CHECK(first.value.has_value() == (habit.wanted == Habit::right));
    CHECK(first.overload == (habit.wanted == Habit::overload));
    CHECK(first.error.empty() == (habit.wanted != Habit::fault));
    // The one that was only late is heard rightly the second time.
    if (std::string_view(habit.name) == "late reply") CHECK(second.value == 100.0);
  }
}

TEST_CASE("blocks that are not whole give no samples") {
  for (const char* habit : {"none", "block zero-padded", "block #0", "block #10", "block too short",
                            "block too long"}) {
    const Peer peer(habit, kBlocks);
    const Socat socat(listening(peer, kPort + kBlocks));
    scpi::Session session("digitiser",
                          eventually("tcp://127.0.0.1:" + std::to_string(kPort + kBlocks)),
                          dialect("scpi-digitiser"));
    session.open(bench::Patience{Duration{10}});
    const scpi::Arguments channel{{"channels", std::vector<std::string>{"101"}}};
    const std::string name(habit);
    INFO(name);
    if (name == "none" || name == "block zero-padded") {
      CHECK(session.ask_floats("fetch", channel, 100, kPatience) == std::vector<double>{100, 100});
    } else if (name == "block #10") {
      CHECK(session.ask_floats("fetch", channel, 100, kPatience).empty());  // and two were wanted
    } else {
      CHECK_THROWS_AS((void)session.ask_floats("fetch", channel, 100, kPatience), Error);
    }
  }
}
