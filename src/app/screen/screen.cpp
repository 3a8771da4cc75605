// pinproof screen: the live page for a browser beside the bench.
#include <CLI/CLI.hpp>
#include <cstdio>
#include <filesystem>

#include "app/command.h"
#include "app/screen/works.h"
#include "app/stop.h"
#include "app/values.h"
#include "quantity/error.h"
#include "screen/desk.h"

namespace pinproof::app {
namespace {

namespace fs = std::filesystem;

struct ScreenOptions {
  std::vector<std::string> profiles, benches, names;
  std::string listen = "127.0.0.1", dialects;
  int port = 7870;
  LedgerOptions ledger;
  bool demo = false;
};

void add_options(CLI::App& app, ScreenOptions& options) {
  takes_profile(app.add_option(
      "--profile", options.profiles,
      "Profile file or installed name to offer; may be repeated (all installed ones)"));
  CLI::Option* bench = takes_file(
      app.add_option("--bench", options.benches, "Bench file to offer; may be repeated"));
  app.add_flag("--demo", options.demo,
               "A simulated bench and a box of ten packs, for a first look; keeps its records for "
               "itself")
      ->excludes(bench);
  app.add_option("--port", options.port, "TCP port; 0 takes a free one")
      ->check(CLI::Range(0, 65535))
      ->capture_default_str();
  app.add_option("--listen", options.listen,
                 "Address to listen on. Beyond this computer nothing is encrypted: only in a "
                 "network that you trust. The link that is printed then holds a key")
      ->capture_default_str();
  app.add_option("--name", options.names,
                 "Name by which browsers call this computer, where not by its address");
  takes_folder(app.add_option("--dialects", options.dialects,
                              "Folder of dialect files, instead of the installed one"));
  options.ledger.add(app);
}

// Offered by the name of its file.
std::string stem_of(const std::string& path) { return fs::path(path).stem().string(); }

ScreenSetup setup_of(const ScreenOptions& options, const std::string& demo_ledger) {
  ScreenSetup out;
  out.demo = options.demo;
  out.dialects = options.dialects;
  out.ledger = options.ledger;
  out.profiles =
      options.profiles.empty() && !options.demo ? installed_profiles() : options.profiles;
  if (options.demo) {
    if (out.profiles.empty()) out.profiles = {kDemoProfile};
    if (out.ledger.where.empty()) out.ledger.where = demo_ledger;
  }
  for (const std::string& profile : out.profiles) find_profile(profile);
  for (const std::string& bench : options.benches) {
    bench::load_description(bench);
    std::string name = stem_of(bench);
    if (out.benches.contains(name)) name = bench;
    out.benches[name] = bench;
  }
  if (out.benches.empty() && !options.demo)
    throw Error(Fault::usage, "--bench FILE is wanted, or --demo for a first look");
  return out;
}

bool is_loopback(const std::string& address) {
  return address.starts_with("127.") || address == "::1" || address == "localhost";
}

// A folder that is gone when the demo ends.
class DemoFolder {
 public:
  explicit DemoFolder(bool wanted) {
    if (!wanted) return;
    path_ = (fs::temp_directory_path() / "pinproof-demo-XXXXXX").string();
    if (::mkdtemp(path_.data()) == nullptr) throw Error(Fault::usage, path_ + ": cannot make it");
  }
  ~DemoFolder() {
    std::error_code ignored;
    if (!path_.empty()) fs::remove_all(path_, ignored);
  }
  DemoFolder(const DemoFolder&) = delete;
  DemoFolder& operator=(const DemoFolder&) = delete;
  std::string ledger() const { return path_.empty() ? "" : path_ + "/ledger.sqlite"; }

 private:
  std::string path_;
};

// The server answers before there is a desk, and the desk needs the port.
struct Door {
  std::unique_ptr<screen::Desk> desk;
  std::atomic<screen::Desk*> open{nullptr};
  screen::Reply answer(const screen::Request& request) {
    if (screen::Desk* d = open) return d->answer(request);
    screen::Reply out;
    out.status = 503;
    return out;
  }
  void on_stream(const screen::Request& request, bool begins) {
    if (screen::Desk* d = open) d->on_stream(request, begins);
  }
};

std::string link_of(const std::string& address, unsigned short port, const std::string& key) {
  const bool six = address.find(':') != std::string::npos;
  std::string host = address == "0.0.0.0" || address == "::" ? "THIS-COMPUTER" : address;
  if (six && host != "THIS-COMPUTER") host = "[" + host + "]";
  std::string out = "http://" + host + ":" + std::to_string(port) + "/";
  if (!key.empty()) out += "?key=" + key;
  return out;
}

void tell_where(const Common& common, const std::string& link, bool loopback) {
  if (common.json) {
    std::printf("{\"url\":\"%s\"}\n", link.c_str());
  } else {
    std::printf("The screen is at %s  Ctrl-C ends it.\n", link.c_str());
    if (!loopback)
      std::printf(
          "Whoever has this link can drive the bench, and nothing on the way is "
          "encrypted.\n");
  }
  std::fflush(stdout);
}

int run(const ScreenOptions& options, const Common& common) {
  const DemoFolder folder(options.demo);
  screen::Feed feed;
  ScreenWorks works(setup_of(options, folder.ledger()), feed);
  const bool loopback = is_loopback(options.listen);
  screen::ServerOptions server_options;
  server_options.address = options.listen == "localhost" ? "127.0.0.1" : options.listen;
  server_options.port = static_cast<unsigned short>(options.port);
  Door door;
  screen::Server server(
      server_options, feed, [&](const auto& request) { return door.answer(request); },
      [&](const auto& request, bool begins) { door.on_stream(request, begins); });
  screen::GateOptions gate;
  gate.port = server.port();
  gate.loopback = loopback;
  gate.names = options.names;
  if (!loopback) gate.key = screen::random_token();
  door.desk = std::make_unique<screen::Desk>(works.offer(), gate, feed, works);
  door.open = door.desk.get();
  tell_where(common, link_of(options.listen, server.port(), gate.key), loopback);
  try {
    while (true) sleep_or_stop(3600);
  } catch (const Error&) {  // stopped: the normal end of a server
  }
  return 0;
}

Run prepare(CLI::App& app) { return prepared(app, add_options, run); }

}  // namespace

const Command kScreen{.name = "screen",
                      .description = "Serve the live screen to a browser beside the bench",
                      .example = "pinproof screen --demo",
                      .prepare = prepare};

}  // namespace pinproof::app
