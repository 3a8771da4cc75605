// What the client costs over bare loopback sockets, side by side in one run: a
// query and its reply, and a block. Prints ratios; asserts nothing, since a
// machine that is busy is not a fault.
#include <arpa/inet.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cstdio>
#include <cstring>
#include <string>
#include <thread>
#include <vector>

#include "paths.h"
#include "link/link.h"
#include "scpi/session.h"

using namespace pinproof;
using Clock = std::chrono::steady_clock;

namespace {

constexpr int kTrips = 20'000;
constexpr int kRounds = 7;
constexpr std::size_t kBlock = 8'000'000;
constexpr int kBlocks = 6;

void set_no_delay(int fd) {
  const int on = 1;
  ::setsockopt(fd, IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
}

void write_all(int fd, const char* bytes, std::size_t count) {
  while (count > 0) {
    const ssize_t sent = ::send(fd, bytes, count, MSG_NOSIGNAL);
    if (sent <= 0) return;
    bytes += sent;
    count -= static_cast<std::size_t>(sent);
  }
}

// The reference loop: answers every line with one number, "FETC?" with a block.
void serve(int listener) {
  std::string block = "#9" + std::string(9 - std::to_string(kBlock).size(), '0') +
                      std::to_string(kBlock) + std::string(kBlock, 'x') + "\n";
  while (true) {
    const int client = ::accept(listener, nullptr, nullptr);
    if (client < 0) return;
    set_no_delay(client);
    std::thread([client, &block] {
      std::array<char, 4096> chunk;
      while (true) {
        const ssize_t got = ::recv(client, chunk.data(), chunk.size(), 0);
        if (got <= 0) break;
        const std::string_view line(chunk.data(), static_cast<std::size_t>(got));
        if (line.starts_with("FETC?"))
          write_all(client, block.data(), block.size());
        else
          write_all(client, "+5.21370000E+00\n", 16);
      }
      ::close(client);
    }).detach();
  }
}

double seconds(auto&& action) {
  const auto start = Clock::now();
  action();
  return std::chrono::duration<double>(Clock::now() - start).count();
}

int bare_socket(std::uint16_t port) {
  const int fd = ::socket(AF_INET, SOCK_STREAM, 0);
  sockaddr_in at{};
  at.sin_family = AF_INET;
  at.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  at.sin_port = htons(port);
  if (::connect(fd, reinterpret_cast<sockaddr*>(&at), sizeof at) != 0) std::abort();
  set_no_delay(fd);
  return fd;
}

void bare_trips(int fd) {
  std::array<char, 4096> chunk;
  for (int i = 0; i < kTrips; ++i) {
    write_all(fd, "READ?\n", 6);
    pollfd p{fd, POLLIN, 0};
    ::poll(&p, 1, 2000);
    if (::read(fd, chunk.data(), chunk.size()) != 16) std::abort();
  }
}

// The block as a memory copy would have it: read into a buffer, copied once out of it.
void bare_block(int fd, std::vector<char>& to) {
  write_all(fd, "FETC? (@1)\n", 11);
  std::array<char, 65536> chunk;
  std::size_t have = 0;
  while (have < kBlock + 12) {
    pollfd p{fd, POLLIN, 0};
    ::poll(&p, 1, 2000);
    const ssize_t got = ::read(fd, chunk.data(), chunk.size());
    if (got <= 0) std::abort();
    std::memcpy(to.data() + have, chunk.data(), static_cast<std::size_t>(got));
    have += static_cast<std::size_t>(got);
  }
}

double median(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  return values[values.size() / 2];
}

scpi::Session session(const std::string& address, const std::string& name) {
  return {"meter", link::open_link(address),
          scpi::Dialect::load(pinproof::tests::source_dir() + "/drivers/dialects/" + name +
                              ".json")};
}

}  // namespace

int main() {
  const int listener = ::socket(AF_INET, SOCK_STREAM, 0);
  sockaddr_in at{};
  at.sin_family = AF_INET;
  at.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  socklen_t size = sizeof at;
  if (::bind(listener, reinterpret_cast<sockaddr*>(&at), size) != 0 || ::listen(listener, 8) != 0)
    return 1;
  ::getsockname(listener, reinterpret_cast<sockaddr*>(&at), &size);
  std::thread(serve, listener).detach();
  const std::uint16_t port = ntohs(at.sin_port);
  const std::string address = "tcp://127.0.0.1:" + std::to_string(port);

  std::stop_source stop;
  const bench::Patience patience(Duration{5}, stop.get_token());
  const int bare = bare_socket(port);
  const auto link = link::open_link(address);
  auto meter = session(address, "scpi-meter");
  auto digitiser = session(address, "scpi-digitiser");
  std::vector<double> bare_s, link_s, session_s, bare_block_s, block_s;
  std::vector<char> buffer(kBlock + 65536);
  for (int round = 0; round < kRounds; ++round) {  // interleaved: both feel the same neighbours
    bare_s.push_back(seconds([&] { bare_trips(bare); }));
    link_s.push_back(seconds([&] {
      for (int i = 0; i < kTrips; ++i) {
        link->write("READ?\n", patience);
        if (link->read_line(100, patience).size() != 15) std::abort();
      }
    }));
    session_s.push_back(seconds([&] {
      for (int i = 0; i < kTrips; ++i)
        if (meter.ask_number("read", {}, patience).value != 5.2137) std::abort();
    }));
  }
  const scpi::Arguments channel{{"channels", std::vector<std::string>{"1"}}};
  for (int i = 0; i < kBlocks; ++i) {
    bare_block_s.push_back(seconds([&] { bare_block(bare, buffer); }));
    block_s.push_back(seconds([&] {
      if (digitiser.ask_block("fetch", channel, kBlock, patience).size() != kBlock) std::abort();
    }));
  }
  const auto trips = [](const char* name, double s, double reference) {
    std::printf("%-44s %9.0f /s %8.2f us  ratio %.2f\n", name, kTrips / s, 1e6 * s / kTrips,
                s / reference);
  };
  const double reference = median(bare_s);
  trips("bare poll, read, write", reference, reference);
  trips("a link: write, read_line, stop token", median(link_s), reference);
  trips("a session: ask_number by its dialect", median(session_s), reference);
  const auto blocks = [](const char* name, double s, double other) {
    std::printf("%-44s %9.0f MB/s              ratio %.2f\n", name, 1e-6 * double(kBlock) / s,
                other / s);
  };
  const double block_reference = median(bare_block_s);
  blocks("bare reads and one copy, 8 MB block", block_reference, block_reference);
  blocks("a session: ask_block", median(block_s), block_reference);
  std::fflush(stdout);
  std::quick_exit(0);  // the serving threads never end by themselves
}
