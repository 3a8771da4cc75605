#include "simulated/server.h"

#include <unistd.h>

#include <algorithm>
#include <boost/asio.hpp>
#include <cmath>
#include <mutex>
#include <thread>

#include "quantity/error.h"
#include "simulated/bench_file.h"
#include "simulated/instruments.h"
#include "simulated/pty.h"
#include "simulated/relay_board.h"

namespace pinproof::simulated {
namespace {

namespace asio = boost::asio;
using asio::ip::tcp;

constexpr std::size_t kLongestLine = 65536;
constexpr double kLongestWait_s = 60;

struct Device {
  std::unique_ptr<ScpiDevice> scpi;
  std::optional<tcp::acceptor> acceptor;
  std::optional<Pty> pty;

  std::string address() const {
    if (pty) return "serial://" + pty->path() + "?baud=115200";
    return "tcp://127.0.0.1:" + std::to_string(acceptor->local_endpoint().port());
  }
};

}  // namespace

struct SimulatedBench::BenchServer {
  explicit BenchServer(SimulationOptions o)
      : options(std::move(o)), world(options.profile, options.seed, parse(options)) {
    world.on_output = options.on_output;
  }

  static std::vector<PackFault> parse(const SimulationOptions& options) {
    std::vector<PackFault> out;
    for (const std::string& text : options.faults)
      out.push_back(parse_fault(options.profile, text));
    return out;
  }

  void listen();
  template <class Factory>
  void make(Factory factory, const std::string& role);
  void start(Device& device);
  asio::awaitable<void> accept(Device& device);
  template <class Stream>
  asio::awaitable<void> serve(Stream stream, ScpiDevice& device);

  SimulationOptions options;
  std::mutex mutex;  // the relay board's thread moves relays of the same world
  World world;
  asio::io_context io{1};
  std::vector<Device> devices;
  std::unique_ptr<RelayBoard> relays;
  std::thread thread;
};

template <class Factory>
void SimulatedBench::BenchServer::make(Factory factory, const std::string& role) {
  const auto it = options.dialects.find(role);
  const std::string name = it == options.dialects.end() ? "scpi-" + role : it->second;
  auto dialect = scpi::Dialect::load(options.dialect_folder + "/" + name + ".json");
  if (dialect.role() != role)
    throw Error(Fault::usage, "dialect \"" + name + "\" is for the role \"" + dialect.role() +
                                  "\", not for \"" + role + "\"");
  Device device;
  device.scpi = factory(world, std::move(dialect));
  const auto port = static_cast<unsigned short>(
      options.first_port == 0 ? 0 : options.first_port + static_cast<int>(devices.size()));
  try {
    if (options.on_pty.contains(role))
      device.pty.emplace();
    else
      device.acceptor.emplace(io, tcp::endpoint{asio::ip::address_v4::loopback(), port});
  } catch (const boost::system::system_error& e) {
    throw Error(Fault::usage,
                "cannot listen on 127.0.0.1:" + std::to_string(port) + ": " + e.code().message());
  }
  devices.push_back(std::move(device));
}

void SimulatedBench::BenchServer::listen() {
  make(make_meter, "meter");
  make(make_matrix, "matrix");
  make(make_digitiser, "digitiser");
  make(make_supply, "supply");
  make(make_actuator, "actuator");
  if (!options.relays.empty()) relays = std::make_unique<RelayBoard>(world, mutex, options.relays);
}

void SimulatedBench::BenchServer::start(Device& device) {
  if (device.acceptor) {
    asio::co_spawn(io, accept(device), asio::detached);
    return;
  }
  asio::posix::stream_descriptor line(io, ::dup(device.pty->near()));
  asio::co_spawn(io, serve(std::move(line), *device.scpi), asio::detached);
}

asio::awaitable<void> SimulatedBench::BenchServer::accept(Device& device) {
  while (true) {
    tcp::socket socket = co_await device.acceptor->async_accept(asio::use_awaitable);
    boost::system::error_code ignored;
    socket.set_option(tcp::no_delay(true), ignored);
    asio::co_spawn(io, serve(std::move(socket), *device.scpi), asio::detached);
  }
}

template <class Stream>
asio::awaitable<void> SimulatedBench::BenchServer::serve(Stream stream, ScpiDevice& device) {
  const std::string end = device.dialect().wire().reply_end;
  std::string inbox;
  asio::steady_timer timer(io);
  try {
    while (true) {
      auto buffer = asio::dynamic_buffer(inbox, kLongestLine);
      const std::size_t size =
          co_await asio::async_read_until(stream, buffer, '\n', asio::use_awaitable);
      std::optional<std::string> reply;
      double took_s = 0, late_s = 0;
      {
        const std::lock_guard lock(mutex);
        const double before = world.elapsed();
        reply = device.answer(std::string_view(inbox).substr(0, size - 1));
        took_s = world.elapsed() - before;
        late_s = world.bench_fault("link-delay");
      }
      inbox.erase(0, size);
      if (options.speed > 0) late_s += took_s / options.speed;
      if (late_s > 0) {
        const double wait_s = std::min(kLongestWait_s, late_s);
        timer.expires_after(std::chrono::duration_cast<std::chrono::nanoseconds>(
            std::chrono::duration<double>(wait_s)));
        co_await timer.async_wait(asio::use_awaitable);
      }
      if (!reply) continue;
      *reply += end;  // the whole reply in one write: clients exist that truncate at a split
      const auto bytes = asio::buffer(*reply);
      co_await asio::async_write(stream, bytes, asio::use_awaitable);
    }
  } catch (const boost::system::system_error&) {
    // The client went away, or sent a line without end: its connection closes.
  }
}

SimulatedBench::SimulatedBench(SimulationOptions options)
    : server_(std::make_unique<BenchServer>(std::move(options))) {}

SimulatedBench::~SimulatedBench() { stop(); }

void SimulatedBench::start() {
  server_->listen();
  for (Device& device : server_->devices) server_->start(device);
  server_->thread = std::thread([this] { server_->io.run(); });
}

void SimulatedBench::stop() {
  server_->io.stop();
  if (server_->thread.joinable()) server_->thread.join();
  server_->relays.reset();
}

std::string SimulatedBench::address(const std::string& role) const {
  for (const Device& device : server_->devices)
    if (device.scpi->role() == role) return device.address();
  throw Error(Fault::usage, "the simulated bench has no " + role);
}

void SimulatedBench::probes(const std::string& red, const std::string& black) {
  const std::lock_guard lock(server_->mutex);
  World& world = server_->world;
  world.open_all();
  if (red.empty() || black.empty()) return;
  // Kelvin probes: each tip has a sense lead of its own. A two-wire meter leaves them alone.
  for (const std::size_t row : {1U, 3U}) world.close(World::crosspoint(row, world.column_of(red)));
  for (const std::size_t row : {2U, 4U})
    world.close(World::crosspoint(row, world.column_of(black)));
}

void SimulatedBench::lever(std::size_t position) {
  const std::lock_guard lock(server_->mutex);
  server_->world.lever(position);
}

void SimulatedBench::air(const std::vector<std::string>& elements, double pascal) {
  const std::lock_guard lock(server_->mutex);
  const auto all = server_->world.elements();
  std::set<std::string> valves;
  for (std::size_t k = 0; k < all.size(); ++k)
    if (std::find(elements.begin(), elements.end(), all[k]) != elements.end())
      valves.insert(std::to_string(k + 1));
  server_->world.valves(valves, pascal);
}

double SimulatedBench::ambient_celsius() {
  const std::lock_guard lock(server_->mutex);
  return server_->world.ambient();
}

std::string SimulatedBench::bench_file() const {
  std::vector<Served> served;
  for (const Device& device : server_->devices)
    served.push_back({device.scpi->role(), &device.scpi->dialect(), device.address()});
  return simulated::bench_file(server_->options, server_->world, served,
                               server_->relays ? server_->relays->address() : "");
}

}  // namespace pinproof::simulated
