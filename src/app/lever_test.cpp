#include "app/lever_test.h"

#include <unistd.h>

#include <cstdio>

#include "app/gear_walk.h"
#include "quantity/error.h"

namespace pinproof::app {
namespace {

class TerminalEye final : public LeverEye {
 public:
  void move(const std::string& position) override {
    std::fprintf(stderr, "%sMove the lever to %s, and leave it there.\n", live_ ? kErase : "",
                 position.c_str());
  }
  void move_freely(const Path& path) override {
    std::fprintf(
        stderr,
        "Start in %s, move the lever to %s and back, and stop for %.0f s in each position.\n"
        "It ends when the lever has stood still for %.0f s.\n",
        path.first.c_str(), path.last.c_str(), path.stop_s, path.rest_s);
  }
  void look(const Look& look) override {
    if (!live_) return;
    const auto read_as = look.code->decode(look.word);
    std::string reads = read_as.empty() ? "no code" : "";
    for (const std::size_t p : read_as)
      reads += (reads.empty() ? "" : " or ") + look.code->positions[p];
    const std::string line = "  " + look.beside + "  lines" + bits_text(look) + "  reads " + reads;
    std::fprintf(stderr, "%s%.76s", kErase, line.c_str());
    std::fflush(stderr);
  }
  void end() override {
    if (live_) std::fputs(kErase, stderr);
  }

 private:
  static constexpr const char* kErase = "\r\033[K";
  const bool live_ = ::isatty(STDERR_FILENO) == 1;
};

void refuse(const bench::Instruments& instruments, bool relays, const LeverAsked& asked) {
  if (relays && asked.harness)
    throw Error(Fault::usage,
                "--harness on a bench needs probes held by hand: relays are wired to "
                "a pack alone");
  if (!relays && (asked.free || !instruments.actuator))
    throw Error(Fault::usage, asked.free
                                  ? "--free needs relays: two probes see one contact at a time"
                                  : "this bench has nobody to move the lever: give it an actuator "
                                    "with driver \"hand\"");
  if (asked.gears && (!instruments.actuator || asked.harness))
    throw Error(Fault::usage,
                "--gears needs somebody or something that applies air to the pack: an "
                "actuator, and no harness");
}

}  // namespace

std::unique_ptr<LeverEye> eye_on_terminal() { return std::make_unique<TerminalEye>(); }

LeverTested test_lever(const profile::Profile& profile, lever::Code code,
                       std::vector<lever::Tap> taps, OpenBench& opened,
                       const inspection::RunOptions& run, const LeverAsked& asked, LeverEye& eye,
                       record::Record& record) {
  auto& instruments = opened.instruments();
  const bool relays = instruments.paths && instruments.paths->can_tie();
  refuse(instruments, relays, asked);
  prove_bench(run, record);
  LeverWalk walk(code, taps, run, record, asked.harness, eye);
  GearWalk gear_walk(run, record);
  lever::Seen seen;
  std::vector<lever::Settled> settled;
  std::optional<lever::GearStudy> gears;
  try {
    if (asked.free)
      settled = walk.freely(asked.rest_s);
    else
      seen = relays ? walk.by_relays(true) : walk.by_hand(asked.both_ways);
    if (asked.gears) gears = gear_walk.walk();
    walk.make_safe();
    prove_bench(run, record);
  } catch (const Error& e) {
    const std::string unsafe = walk.make_safe_after_trouble();
    if (unsafe.empty()) throw;
    throw Error(e.fault(), e.what() + unsafe);
  } catch (const bench::Detour& detour) {  // where nothing can be left out
    throw Error(Fault::aborted, "left out by hand, and the test cannot go on: " + detour.reason() +
                                    walk.make_safe_after_trouble());
  }
  return {asked.free ? lever::study_of(profile, std::move(code), std::move(taps), settled)
                     : lever::study_of(profile, std::move(code), std::move(taps), seen),
          std::move(gears)};
}

}  // namespace pinproof::app
