#include "hand/console.h"

#include "hand/requests.h"

namespace pinproof::hand {
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

void Console::touch(const Pair& pair) {
  switch (pair.where) {
    case Pair::Where::apart:
      return say("Hold the probes apart in the air, then press Enter.");
    case Pair::Where::together:
      return say("Touch the two probes together.");
    case Pair::Where::stay:
      return say("Keep the probes there.");
    case Pair::Where::on_pins:
      say("Touch  RED    " + pair.red_name);
      say("       BLACK  " + pair.black_name);
      if (!pair.face.empty()) say(pair.face);
  }
}

void Console::held(const Held& held) {
  live("    " + held.text + "   " + words(held.grip) + kKeys);
}

void Console::took(const Held& held) {
  beep();
  say("    " + held.text);
}

void Console::task(const Task& task) { say(task.what); }

void Console::task_waits(const Task& task) {
  live("    Enter: done" + std::string(kKeys) + "  S: skip all " + task.kind);
}

}  // namespace pinproof::hand
