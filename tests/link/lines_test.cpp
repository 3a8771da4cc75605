// Serial lines (a pseudo-terminal is one), programs, USBTMC by a stand-in of the
// kernel, the guardian's packets, and kept dialogues.
#include <doctest/doctest.h>
#include <fcntl.h>
#include <poll.h>
#include <stdlib.h>
#include <termios.h>
#include <unistd.h>

#include <atomic>
#include <cerrno>
#include <cstring>
#include <deque>
#include <filesystem>
#include <fstream>
#include <functional>
#include <memory>
#include <mutex>
#include <thread>

#include "bench/journal.h"
#include "link/dialogue.h"
#include "link/guardian.h"
#include "link/link.h"
#include "link/packet.h"
#include "link/peer.h"
#include "link/usbtmc.h"
#include "quantity/error.h"

using namespace pinproof;

namespace {

const bench::Patience kSoon{Duration{0.3}};
const bench::Patience kPatient{Duration{5}};

Fault fault_of(auto&& action) {
  try {
    action();
  } catch (const Error& e) {
    return e.fault();
  }
  return Fault::usage;  // what no link throws for an exchange
}

// The near end of a pseudo-terminal whose far end is a raw serial line.
struct Line {
  Line() : near(::posix_openpt(O_RDWR | O_NOCTTY)) {
    ::grantpt(near);
    ::unlockpt(near);
    path = ::ptsname(near);
  }
  ~Line() { hang_up(); }
  void hang_up() {
    if (near >= 0) ::close(near);
    near = -1;
  }
  void put(const char* text) const {
    [[maybe_unused]] const auto sent = ::write(near, text, std::strlen(text));
  }
  std::string get() const {
    char chunk[100];
    const auto got = ::read(near, chunk, sizeof chunk);
    return {chunk, static_cast<std::size_t>(std::max<ssize_t>(got, 0))};
  }
  std::string address() const { return "serial://" + path + "?baud=31250"; }
  int near;
  std::string path;
};

// An instrument on USB, as the kernel shows one.
struct FakeDevice final : link::UsbtmcDevice {
  struct State {
    std::mutex mutex;
    std::deque<std::string> messages;  // waiting to be read
    std::string written;
    int clears = 0, opens = 0;
    std::atomic<bool> gone{false}, slow{false}, busy_elsewhere{false};
  };
  explicit FakeDevice(std::shared_ptr<State> s) : state(std::move(s)) {}
  bool open() override {
    ++state->opens;
    if (state->busy_elsewhere) errno = EWOULDBLOCK;
    return !state->busy_elsewhere;
  }
  void close() noexcept override {}
  ssize_t write(const char* bytes, std::size_t count) override {
    if (state->gone) return errno = ENODEV, -1;
    const std::lock_guard lock(state->mutex);
    state->written.append(bytes, count);
    return static_cast<ssize_t>(count);
  }
  ssize_t read(char* to, std::size_t most) override {
    if (state->slow) std::this_thread::sleep_for(std::chrono::milliseconds(700));
    if (state->gone) return errno = ENODEV, -1;
    const std::lock_guard lock(state->mutex);
    if (state->messages.empty()) return errno = ETIMEDOUT, -1;
    std::string& message = state->messages.front();
    const std::size_t count = std::min(most, message.size());
    message.copy(to, count);
    message.erase(0, count);
    ended = message.empty();
    if (ended) state->messages.pop_front();
    return static_cast<ssize_t>(count);
  }
  bool end_of_message(std::size_t, std::size_t) override { return ended; }
  bool set_timeout_ms(unsigned ms) override { return ms >= 100; }
  bool clear() override { return ++state->clears, true; }
  std::shared_ptr<State> state;
  bool ended = false;
};

}  // namespace

TEST_CASE("a serial line carries both ways, at a rate of its own") {
  const Line line;
  const auto link = link::open_link(line.address());
  link->write("*IDN?\n", kPatient);
  CHECK(line.get() == "*IDN?\n");  // raw: nothing is added, nothing echoes
  line.put("A,B,C,D\r\n");
  CHECK(link->read_line(100, kPatient) == "A,B,C,D");
  CHECK(link->late_replies_survive());
}

TEST_CASE("a serial port belongs to one program at a time") {
  const Line line;
  const auto first = link::open_link(line.address());
  first->write("X\n", kPatient);
  const auto second = link::open_link(line.address());
  CHECK(fault_of([&] { second->write("Y\n", kPatient); }) == Fault::bench);
}

TEST_CASE("a cable pulled in mid-reply is a bench fault at once") {
  Line line;
  const auto link = link::open_link(line.address());
  link->write("READ?\n", kPatient);
  line.put("+1.2");
  std::thread pull([&line] {
    std::this_thread::sleep_for(std::chrono::milliseconds(100));
    line.hang_up();
  });
  const auto start = std::chrono::steady_clock::now();
  CHECK(fault_of([&] { (void)link->read_line(100, kPatient); }) == Fault::bench);
  CHECK(std::chrono::steady_clock::now() - start < std::chrono::seconds(2));
  pull.join();
}

TEST_CASE("discard throws away what came, up to a silence") {
  const Line line;
  const auto link = link::open_link(line.address());
  link->write("A\n", kPatient);
  line.put("stale\nstal");
  link->discard(Duration{0.05}, kPatient);
  line.put("fresh\n");
  CHECK(link->read_line(100, kPatient) == "fresh");
}

TEST_CASE("addresses of lines that cannot be read") {
  for (const char* address :
       {"serial://", "serial://ttyUSB0", "serial:///dev/ttyS0?baud=0", "serial:///dev/ttyS0?baud=x",
        "serial:///dev/ttyS0?speed=9600", "serial:///dev/ttyS0?rts=maybe",
        "serial:///dev/ttyS0?baud=9600&baud=9600", "usbtmc://x", "usbtmc:///dev/usbtmc0?clear=1",
        "command:", "command:   "})
    CHECK(fault_of([&] { (void)link::open_link(address); }) == Fault::usage);
  CHECK_THROWS_WITH_AS(link::open_link("serial:///nowhere")->write("X\n", kPatient),
                       doctest::Contains("plugged in"), Error);
}

TEST_CASE("a program as a link") {
  const auto echo = link::open_link("command:cat");
  echo->write("hello\n", kPatient);
  CHECK(echo->read_line(100, kPatient) == "hello");
  const auto ended = link::open_link("command:false");
  CHECK_THROWS_WITH_AS((void)ended->read_line(100, kPatient), doctest::Contains("exit code 1"),
                       Error);
  const auto missing = link::open_link("command:no-such-program-here");
  CHECK_THROWS_WITH_AS((void)missing->read_line(100, kPatient), doctest::Contains("not installed"),
                       Error);
  const auto silent = link::open_link("command:sleep 60");
  CHECK(fault_of([&] { (void)silent->read_line(100, kSoon); }) == Fault::timeout);
}

TEST_CASE("USBTMC: messages by their end mark, however the transfers are cut") {
  const auto state = std::make_shared<FakeDevice::State>();
  const auto link =
      link::make_usbtmc_link("usbtmc:///dev/usbtmc9", std::make_unique<FakeDevice>(state), true);
  link->write("READ?\n", kPatient);
  CHECK(state->written == "READ?\n");
  state->messages.push_back("+5.2E+00\n");
  CHECK(link->read_line(100, kPatient) == "+5.2E+00");
  link->write("READ?\n", kPatient);
  state->messages.push_back("+6.2E+00");  // some send no line end: the mark is enough
  CHECK(link->read_line(100, kPatient) == "+6.2E+00");
  link->write("FETC?\n", kPatient);
  state->messages.push_back("#510000" + std::string(10000, 'x') + "\n");  // three transfers
  CHECK(link->read_exactly(7, kPatient) == "#510000");
  CHECK(link->read_exactly(10000, kPatient) == std::string(10000, 'x'));
  CHECK(link->read_line(10, kPatient).empty());
  link->write("FETC?\n", kPatient);
  state->messages.push_back("#15HEL");
  CHECK(link->read_exactly(3, kPatient) == "#15");
  CHECK(fault_of([&] { (void)link->read_exactly(5, kPatient); }) == Fault::bad_reply);
}

TEST_CASE("USBTMC: time-outs, unplugging and another program") {
  const auto state = std::make_shared<FakeDevice::State>();
  const auto link =
      link::make_usbtmc_link("usbtmc:///dev/usbtmc9", std::make_unique<FakeDevice>(state), true);
  link->write("READ?\n", kPatient);
  CHECK(fault_of([&] { (void)link->read_line(100, kSoon); }) == Fault::timeout);
  link->write("READ?\n", kPatient);  // opened afresh, and cleared
  CHECK(state->opens == 2);
  CHECK(state->clears >= 2);
  // A read that sits in the kernel past its deadline: late, and its answer never used.
  state->slow = true;
  state->messages.push_back("late\n");
  CHECK(fault_of([&] { (void)link->read_line(100, kSoon); }) == Fault::timeout);
  CHECK(fault_of([&] { link->write("NEXT?\n", bench::Patience{Duration{0.05}}); }) ==
        Fault::timeout);  // still busy
  state->slow = false;
  link->write("NEXT?\n", kPatient);
  state->messages.push_back("next\n");
  CHECK(link->read_line(100, kPatient) == "next");
  std::stop_source stop;
  const bench::Patience stoppable(Duration{30}, stop.get_token());
  link->write("READ?\n", kPatient);
  state->slow = true;
  std::thread stopper([&stop] {
    std::this_thread::sleep_for(std::chrono::milliseconds(100));
    stop.request_stop();
  });
  CHECK(fault_of([&] { (void)link->read_line(100, stoppable); }) == Fault::aborted);
  stopper.join();
  state->slow = false;
  link->write("X\n", kPatient);
  state->gone = true;
  CHECK_THROWS_WITH_AS(link->write("Y\n", kPatient), doctest::Contains("unplugged"), Error);
  state->gone = false;
  state->busy_elsewhere = true;
  CHECK(fault_of([&] { link->write("Z\n", kPatient); }) != Fault::usage);
}

TEST_CASE("packets between program and guardian") {
  link::PacketWriter out('W');
  out.number(1.5).text("OUTP 0\n").text("");
  link::PacketReader in(out.bytes());
  CHECK(in.head() == 'W');
  CHECK(in.number() == 1.5);
  CHECK(in.text() == "OUTP 0\n");
  CHECK(in.text().empty());
  CHECK_THROWS_AS((void)in.head(), Error);
  link::PacketReader broken(std::string_view(out.bytes()).substr(0, 20));
  broken.head();
  (void)broken.number();
  CHECK_THROWS_AS((void)broken.text(), Error);
}

TEST_CASE("a dialogue is replayed byte for byte, errors and all; another question is told") {
  const auto path =
      (std::filesystem::temp_directory_path() / ("pinproof-dialogue-" + std::to_string(::getpid())))
          .string();
  tests::Peer peer([](const std::string& line) -> std::string {
    if (line == "FETC?") return std::string("#14\xff\x00\x80\n", 7) + "\n";
    return line == "READ?" ? "+1.5\n" : "";
  });
  {
    bench::JournalWriter writer(path);
    const auto link = link::record_link("meter", link::open_link(peer.address()), writer);
    link->write("READ?\n", kPatient);
    CHECK(link->read_line(100, kPatient) == "+1.5");
    link->write("FETC?\n", kPatient);
    CHECK(link->read_exactly(7, kPatient) == std::string("#14\xff\x00\x80\n", 7));
    CHECK(link->read_line(10, kPatient).empty());
    link->write("NOTHING?\n", kPatient);
    CHECK(fault_of([&] { (void)link->read_line(100, kSoon); }) == Fault::timeout);
  }
  bench::JournalReader reader(path);
  const auto again = link::replay_link("meter", peer.address(), reader);
  again->write("READ?\n", kPatient);
  CHECK(again->read_line(100, kPatient) == "+1.5");
  again->write("FETC?\n", kPatient);
  CHECK(again->read_exactly(7, kPatient) == std::string("#14\xff\x00\x80\n", 7));
  CHECK(again->read_line(10, kPatient).empty());
  again->write("NOTHING?\n", kPatient);
  CHECK(fault_of([&] { (void)again->read_line(100, kSoon); }) == Fault::timeout);
  CHECK_THROWS_WITH_AS(again->write("MORE?\n", kPatient), doctest::Contains("ends where"), Error);
  bench::JournalReader other(path);
  const auto wrong = link::replay_link("meter", peer.address(), other);
  CHECK_THROWS_WITH_AS(wrong->write("VOLT?\n", kPatient),
                       doctest::Contains("the dialogue has write \"READ??\""), Error);
  std::filesystem::remove(path);
  // A disk that takes no more is told once; what comes after is the way to safety.
  bench::JournalWriter full("/dev/full");
  CHECK(fault_of([&] {
          full.add({0, "supply", "write", "OUTP 1\n", "", std::nullopt});
        }) == Fault::bench);
  full.add({0, "supply", "write", "OUTP 0\n", "", std::nullopt});
}

namespace {

// Children of this process that are dead and not waited for.
std::size_t dead_children() {
  std::ifstream list("/proc/self/task/" + std::to_string(::getpid()) + "/children");
  std::size_t dead = 0;
  for (std::string pid; list >> pid;) {
    std::ifstream stat("/proc/" + pid + "/stat");
    std::string line;
    std::getline(stat, line);
    dead += line.find(") Z ") != std::string::npos;
  }
  return dead;
}

}  // namespace

TEST_CASE("a guardian that ends too slowly to be waited for is buried by the next") {
  const auto guarded = [](const char* seconds) {
    return link::open_guarded("tcp://127.0.0.1:9", {}, {"/bin/sleep", seconds});
  };
  const std::size_t before = dead_children();
  guarded("6").reset();  // waited for 2 s, then left
  for (int k = 0; k < 1000 && dead_children() == before; ++k)
    std::this_thread::sleep_for(std::chrono::milliseconds(10));
  CHECK(dead_children() == before + 1);
  guarded("0").reset();
  CHECK(dead_children() == before);
}

TEST_CASE("a program that is started holds nothing open that was open here") {
  const auto let_go = [](const std::function<std::unique_ptr<link::Link>()>& start) {
    int ends[2];
    REQUIRE(::pipe(ends) == 0);  // as of a library that does not keep it to this program
    const auto running = start();
    ::close(ends[1]);
    pollfd end{ends[0], POLLIN, 0};
    const bool ended = ::poll(&end, 1, 2000) == 1 && (end.revents & POLLHUP) != 0;
    ::close(ends[0]);
    return ended;
  };
  CHECK(let_go([] {
    auto cat = link::open_link("command:cat");
    cat->write("\n", kPatient);  // by now it runs
    CHECK(cat->read_line(10, kPatient).empty());
    return cat;
  }));
  CHECK(let_go([] { return link::open_guarded("tcp://127.0.0.1:9", {}, {"/bin/sleep", "5"}); }));
}
