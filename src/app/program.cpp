#include "app/program.h"

#include <CLI/CLI.hpp>
#include <array>
#include <cstdio>
#include <exception>
#include <new>

#include "quantity/error.h"
#include "quantity/lines.h"
#include "quantity/version.h"

namespace pinproof::app {

// The one table of commands.
std::span<const Command* const> commands() {
  static constexpr std::array kCommands{
      &kInspect,  &kDiagnose, &kLever,   &kSample, &kRecords, &kLot,      &kLearn,  &kGauge,
      &kCoverage, &kCoil,     &kProfile, &kReport, &kBench,   &kSimulate, &kScreen, &kGuardian};
  return kCommands;
}

std::string example_text(std::string_view example) {
  return std::string(kExampleHeading).append("  ").append(example);
}

namespace {

int complain(const std::string& command, const std::string& what, int code) {
  // Names that steer a terminal may stand in it.
  std::fprintf(stderr, "pinproof %s: %s\n", command.c_str(), harmless(what).c_str());
  return code;
}

int run(const Chosen& chosen) {
  const std::string name(chosen.command->name);
  try {
    return chosen.run(chosen.common);
  } catch (const Error& e) {
    return complain(name, e.what(), exit_code(e.fault()));
  } catch (const std::bad_alloc&) {
    return complain(name, "out of memory", exit_code(Fault::usage));
  } catch (const std::exception& e) {
    return complain(name, std::string("unexpected: ") + e.what(), exit_code(Fault::bench));
  }
}

}  // namespace

std::shared_ptr<CLI::App> command_tree(Chosen& chosen) {
  const auto app = std::make_shared<CLI::App>(
      "pinproof: prove every pin of a transmission's solenoid pack before it goes in.\n"
      "Exit: 0 accept or done, 1 reject, 2 hold, 3 wrong usage or file, 4 bench fault, 5 stopped.");
  app->set_version_flag("--version", version_text());
  app->require_subcommand(1);
  for (const Command* command : commands()) {
    CLI::App* sub =
        app->add_subcommand(std::string(command->name), std::string(command->description));
    sub->footer(example_text(command->example));
    sub->add_flag("--json", chosen.common.json, "Machine output on stdout");
    sub->callback([command, run = command->prepare(*sub), &chosen] {
      chosen.command = command;
      chosen.run = run;
    });
  }
  return app;
}

int run_program(std::span<const std::string> words) {
  std::vector<const char*> argv;
  for (const std::string& word : words) argv.push_back(word.c_str());
  Chosen chosen;
  const auto app = command_tree(chosen);
  try {
    app->parse(static_cast<int>(argv.size()), argv.data());
  } catch (const CLI::ParseError& e) {
    const int shown = app->exit(e);  // prints help, version or the complaint
    return shown == 0 ? 0 : exit_code(Fault::usage);
  }
  return run(chosen);
}

}  // namespace pinproof::app
