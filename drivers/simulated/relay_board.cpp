#include "simulated/relay_board.h"

#include <arpa/inet.h>
#include <modbus/modbus.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <atomic>
#include <cstdint>
#include <thread>
#include <vector>

#include "modbus/context.h"
#include "quantity/error.h"
#include "simulated/instruments.h"

namespace pinproof::simulated {
namespace {

constexpr int kCoils = static_cast<int>(World::kRowCount * kRelaysPerRow);
constexpr int kPoll_ms = 50;  // how soon the board notices that it is to end

struct Unmap {
  void operator()(modbus_mapping_t* mapping) const { ::modbus_mapping_free(mapping); }
};

bool readable(int fd) {
  pollfd p{fd, POLLIN, 0};
  return ::poll(&p, 1, kPoll_ms) > 0;
}

}  // namespace

struct RelayBoard::BoardServer {
  BoardServer(World& a_world, std::mutex& a_mutex, const std::string& an_address)
      : world(a_world),
        mutex(a_mutex),
        address(an_address),
        context(modbus::make_context(an_address)),
        mapping(::modbus_mapping_new(kCoils, 0, 0, 0)) {}

  void listen();
  void serve_tcp();
  void serve_line();
  bool answer();
  void move_relays();

  World& world;
  std::mutex& mutex;
  std::string address;
  modbus::ModbusContext context;
  std::unique_ptr<modbus_mapping_t, Unmap> mapping;
  int listener = -1;
  std::atomic<bool> over{false};
  std::thread thread;
};

void RelayBoard::BoardServer::listen() {
  if (!address.starts_with("modbus-tcp:")) {
    if (::modbus_connect(context.get()) != 0)
      throw Error(Fault::usage, address + ": " + ::modbus_strerror(errno));
    thread = std::thread([this] { serve_line(); });
    return;
  }
  // Own socket: libmodbus would listen on every interface and hide a free port.
  listener = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  const int on = 1;
  ::setsockopt(listener, SOL_SOCKET, SO_REUSEADDR, &on, sizeof on);
  sockaddr_in at{};
  at.sin_family = AF_INET;
  at.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  at.sin_port = htons(static_cast<std::uint16_t>(modbus::tcp_port(address)));
  socklen_t size = sizeof at;
  if (::bind(listener, reinterpret_cast<sockaddr*>(&at), size) != 0 || ::listen(listener, 4) != 0)
    throw Error(Fault::usage, address + ": cannot listen");
  ::getsockname(listener, reinterpret_cast<sockaddr*>(&at), &size);
  address = "modbus-tcp://127.0.0.1:" + std::to_string(ntohs(at.sin_port));
  thread = std::thread([this] { serve_tcp(); });
}

// Several clients may stay connected, as with real boards.
void RelayBoard::BoardServer::serve_tcp() {
  std::vector<int> clients;
  while (!over) {
    std::vector<pollfd> watched{{listener, POLLIN, 0}};
    for (const int client : clients) watched.push_back({client, POLLIN, 0});
    if (::poll(watched.data(), watched.size(), kPoll_ms) <= 0) continue;
    if (watched[0].revents != 0) clients.push_back(::accept(listener, nullptr, nullptr));
    for (std::size_t i = 1; i < watched.size(); ++i) {
      if (watched[i].revents == 0) continue;
      ::modbus_set_socket(context.get(), watched[i].fd);
      if (answer()) continue;
      ::close(watched[i].fd);
      std::erase(clients, watched[i].fd);
    }
  }
  for (const int client : clients) ::close(client);
  ::modbus_set_socket(context.get(), -1);
}

void RelayBoard::BoardServer::serve_line() {
  while (!over)
    if (readable(::modbus_get_socket(context.get()))) answer();
}

// The relays have moved before anything else is asked of the world.
bool RelayBoard::BoardServer::answer() {
  std::array<std::uint8_t, MODBUS_TCP_MAX_ADU_LENGTH> query{};
  const int length = ::modbus_receive(context.get(), query.data());
  if (length < 0) return false;
  if (length == 0) return true;  // for another unit on the line
  const std::lock_guard lock(mutex);
  const bool sent = ::modbus_reply(context.get(), query.data(), length, mapping.get()) >= 0;
  move_relays();
  return sent;
}

void RelayBoard::BoardServer::move_relays() {
  for (std::size_t row = 1; row <= World::kRowCount; ++row)
    for (std::size_t column = 1; column <= world.columns(); ++column) {
      const bool on = mapping->tab_bits[(row - 1) * kRelaysPerRow + column] != 0;
      const std::string crosspoint = World::crosspoint(row, column);
      if (on && !world.is_closed(crosspoint)) world.close(crosspoint);
      if (!on && world.is_closed(crosspoint)) world.open(crosspoint);
    }
}

RelayBoard::RelayBoard(World& world, std::mutex& mutex, const std::string& address)
    : server_(std::make_unique<BoardServer>(world, mutex, address)) {
  server_->listen();
}

RelayBoard::~RelayBoard() {
  server_->over = true;
  if (server_->thread.joinable()) server_->thread.join();
  if (server_->listener >= 0) ::close(server_->listener);
}

const std::string& RelayBoard::address() const { return server_->address; }

}  // namespace pinproof::simulated
