#include "bench/console.h"

namespace pinproof::bench {
namespace {

const char* words(Grip grip) {
  switch (grip) {
    case Grip::moving:
      return "not steady yet";
    case Grip::lift_first:
      return "lift the probes from the last pair";
    case Grip::open:
      return "Enter if both probes are on";
    case Grip::open_expected:
      return "as it should be: Enter if both are on";
    case Grip::unexpected:
      return "steady, but unexpected: Enter takes it";
    case Grip::taken:
      return "taken";
  }
  return "";
}

}  // namespace

void Console::touch(const ProbePair& pair) {
  switch (pair.where) {
    case ProbePair::Where::apart:
      return say("Hold the probes apart in the air, then press Enter.");
    case ProbePair::Where::together:
      return say("Touch the two probes together.");
    case ProbePair::Where::stay:
      return say("Keep the probes there.");
    case ProbePair::Where::on_pins:
      say("Touch  RED    " + pair.red_name);
      say("       BLACK  " + pair.black_name);
      if (!pair.face.empty()) say(pair.face);
  }
}

void Console::held(const ProbesHeld& held) {
  live("    " + held.text + "   " + words(held.grip) + kKeys);
}

void Console::took(const ProbesHeld& held) {
  beep();
  say("    " + held.text);
}

void Console::task(const HandTask& task) { say(task.what); }

void Console::task_waits(const HandTask& task) {
  live("    Enter: done" + std::string(kKeys) + "  S: skip all " + task.kind);
}

}  // namespace pinproof::bench
