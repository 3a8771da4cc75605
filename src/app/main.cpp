#include <CLI/CLI.hpp>
#include <array>
#include <cstdio>
#include <exception>
#include <new>

#include "app/command.h"
#include "app/stop.h"
#include "quantity/error.h"
#include "quantity/lines.h"

namespace pinproof::app {

// The one table of commands.
std::span<const Command* const> commands() {
  static constexpr std::array kCommands{
      &kInspect,  &kDiagnose, &kLever,   &kSample, &kRecords, &kLot,      &kLearn,  &kGauge,
      &kCoverage, &kCoil,     &kProfile, &kReport, &kBench,   &kSimulate, &kScreen, &kGuardian};
  return kCommands;
}

namespace {

int complain(const std::string& command, const std::string& what, int code) {
  // Names that steer a terminal may stand in it.
  std::fprintf(stderr, "pinproof %s: %s\n", command.c_str(), harmless(what).c_str());
  return code;
}

int run(const Command& command, const Common& common) {
  const std::string name(command.name);
  try {
    return command.run(common);
  } catch (const Error& e) {
    return complain(name, e.what(), exit_code(e.fault()));
  } catch (const std::bad_alloc&) {
    return complain(name, "out of memory", exit_code(Fault::usage));
  } catch (const std::exception& e) {
    return complain(name, std::string("unexpected: ") + e.what(), exit_code(Fault::bench));
  }
}

int start(int argc, char** argv) {
  CLI::App app{
      "pinproof: prove every pin of a transmission's solenoid pack before it goes in.\n"
      "Exit: 0 accept or done, 1 reject, 2 hold, 3 wrong usage or file, 4 bench fault, 5 stopped."};
  app.set_version_flag("--version", "pinproof " PINPROOF_VERSION);
  app.require_subcommand(1);
  Common common;
  const Command* chosen = nullptr;
  for (const Command* command : commands()) {
    CLI::App* sub =
        app.add_subcommand(std::string(command->name), std::string(command->description));
    sub->footer("Example:\n  " + std::string(command->example));
    sub->add_flag("--json", common.json, "Machine output on stdout");
    command->options(*sub);
    sub->callback([command, &chosen] { chosen = command; });
  }
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& e) {
    const int shown = app.exit(e);  // prints help, version or the complaint
    return shown == 0 ? 0 : exit_code(Fault::usage);
  }
  listen_for_signals();
  return run(*chosen, common);
}

}  // namespace
}  // namespace pinproof::app

int main(int argc, char** argv) { return pinproof::app::start(argc, argv); }
