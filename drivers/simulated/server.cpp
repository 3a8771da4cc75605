#include "simulated/server.h"

#include <boost/asio.hpp>
#include <cmath>
#include <nlohmann/json.hpp>
#include <thread>

#include "quantity/error.h"
#include "simulated/instruments.h"

namespace pinproof::simulated {
namespace {

namespace asio = boost::asio;
using asio::ip::tcp;

constexpr std::size_t kLongestLine = 65536;
constexpr double kLongestWait_s = 60;

struct Device {
  std::unique_ptr<ScpiDevice> scpi;
  tcp::acceptor acceptor;
};

using Json = nlohmann::ordered_json;

Json accuracy_of(const std::string& role) {
  Json out = Json::array();
  const std::string source = "invented for the demo";
  if (role == "meter")
    for (const char* function : {"ohm-4w", "ohm-2w"})
      for (const OhmRange& r : ohm_ranges())
        out.push_back({{"function", function},
                       {"range", r.range},
                       {"over", kOver},
                       {"reading_ppm", r.reading_ppm},
                       {"range_ppm", r.range_ppm},
                       {"test_current_A", r.test_A},
                       {"source", source}});
  if (role == "digitiser")
    for (const double r : digitiser_ranges())
      out.push_back({{"function", "volt"},
                     {"range", r},
                     {"over", 1.0},
                     {"reading_ppm", kDigitiserReading_ppm},
                     {"range_ppm", kDigitiserRange_ppm},
                     {"source", source}});
  return out;
}

}  // namespace

struct Bench::Server {
  explicit Server(Options o)
      : options(std::move(o)), world(options.profile, options.seed, parse(options)) {}

  static std::vector<PackFault> parse(const Options& options) {
    std::vector<PackFault> out;
    for (const std::string& text : options.faults)
      out.push_back(parse_fault(options.profile, text));
    return out;
  }

  void listen();
  asio::awaitable<void> accept(Device& device);
  asio::awaitable<void> serve(tcp::socket socket, ScpiDevice& device);

  Options options;
  World world;
  asio::io_context io{1};
  std::vector<Device> devices;
  std::thread thread;
};

void Bench::Server::listen() {
  const auto make = [&](auto factory, const std::string& name) {
    const auto port = static_cast<unsigned short>(
        options.first_port == 0 ? 0 : options.first_port + static_cast<int>(devices.size()));
    try {
      devices.push_back(
          {factory(world, scpi::Dialect::load(options.dialect_folder + "/" + name + ".json")),
           tcp::acceptor(io, {asio::ip::address_v4::loopback(), port})});
    } catch (const boost::system::system_error& e) {
      throw Error(Fault::usage,
                  "cannot listen on 127.0.0.1:" + std::to_string(port) + ": " + e.code().message());
    }
  };
  make(make_meter, "scpi-meter");
  make(make_matrix, "scpi-matrix");
  make(make_digitiser, "scpi-digitiser");
  make(make_supply, "scpi-supply");
  make(make_actuator, "scpi-actuator");
}

asio::awaitable<void> Bench::Server::accept(Device& device) {
  while (true) {
    tcp::socket socket = co_await device.acceptor.async_accept(asio::use_awaitable);
    asio::co_spawn(io, serve(std::move(socket), *device.scpi), asio::detached);
  }
}

asio::awaitable<void> Bench::Server::serve(tcp::socket socket, ScpiDevice& device) {
  boost::system::error_code ignored;
  socket.set_option(tcp::no_delay(true), ignored);
  std::string inbox;
  asio::steady_timer timer(io);
  try {
    while (true) {
      auto buffer = asio::dynamic_buffer(inbox, kLongestLine);
      const std::size_t size =
          co_await asio::async_read_until(socket, buffer, '\n', asio::use_awaitable);
      const double before = world.elapsed();
      std::optional<std::string> reply = device.answer(std::string_view(inbox).substr(0, size - 1));
      inbox.erase(0, size);
      if (options.speed > 0) {
        const double wait_s = std::min(kLongestWait_s, (world.elapsed() - before) / options.speed);
        timer.expires_after(std::chrono::duration_cast<std::chrono::nanoseconds>(
            std::chrono::duration<double>(wait_s)));
        co_await timer.async_wait(asio::use_awaitable);
      }
      if (!reply) continue;
      *reply += '\n';  // the whole reply in one write: clients exist that truncate at a split
      const auto bytes = asio::buffer(*reply);
      co_await asio::async_write(socket, bytes, asio::use_awaitable);
    }
  } catch (const boost::system::system_error&) {
    // The client went away, or sent a line without end: its connection closes.
  }
}

Bench::Bench(Options options) : server_(std::make_unique<Server>(std::move(options))) {}

Bench::~Bench() { stop(); }

void Bench::start() {
  server_->listen();
  for (Device& device : server_->devices)
    asio::co_spawn(server_->io, server_->accept(device), asio::detached);
  server_->thread = std::thread([this] { server_->io.run(); });
}

void Bench::stop() {
  server_->io.stop();
  if (server_->thread.joinable()) server_->thread.join();
}

std::string Bench::bench_file() const {
  Json out;
  out["schema"] = "pinproof/bench/1";
  out["name"] = "simulated bench";
  out["instruments"] = Json::array();
  for (const Device& device : server_->devices) {
    const std::string role = device.scpi->role();
    Json one{
        {"role", role},
        {"driver", "scpi"},
        {"dialect", "scpi-" + role},
        {"address", "tcp://127.0.0.1:" + std::to_string(device.acceptor.local_endpoint().port())}};
    if (Json accuracy = accuracy_of(role); !accuracy.empty()) one["accuracy"] = accuracy;
    if (role == "supply") one["max_voltage_V"] = kMaxSupply_V, one["max_current_A"] = kMaxSupply_A;
    out["instruments"].push_back(one);
  }
  Json fixture;
  const char* rows[] = {"force_high", "force_low", "sense_high", "sense_low",
                        "drive_high", "drive_low", "probe_high", "probe_low"};
  for (int i = 0; i < 8; ++i) fixture["rows"][rows[i]] = std::to_string(i + 1);
  std::size_t n = 0;
  for (const auto& pin : server_->world.profile().connector.pins)
    fixture["columns"][pin.number] = std::to_string(++n);
  fixture["columns"]["case"] = std::to_string(++n);
  fixture["reference"] = {{"columns", {std::to_string(n + 1), std::to_string(n + 2)}},
                          {"ohm", 100.0},
                          {"u_ohm", 0.005}};
  fixture["shunt"] = {{"channel", "102"}, {"ohm", 0.1}, {"u_ohm", 0.0001}};
  fixture["probe_channel"] = "101";
  fixture["supply_channel"] = "103";
  n = 0;
  fixture["elements"] = Json::object();
  for (const std::string& element : server_->world.elements())
    fixture["elements"][element] = std::to_string(++n);
  out["fixture"] = fixture;
  out["thermometer"] = {{"u_celsius", 0.3}};
  out["lead_null"] = "each-run";
  out["time_scale"] = server_->options.speed > 0 ? std::max(1.0, server_->options.speed) : 1e9;
  return out.dump(1) + "\n";
}

}  // namespace pinproof::simulated
