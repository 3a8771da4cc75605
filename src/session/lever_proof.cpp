#include "session/lever_proof.h"

#include "quantity/error.h"
#include "session/gear_walk.h"

namespace pinproof::session {
namespace {

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

LeverTested test_lever(const profile::Profile& profile, lever::RangeCode code,
                       std::vector<lever::Tap> taps, Bench& opened,
                       const inspection::RunOptions& run, const LeverAsked& asked, LeverEye& eye,
                       record::Record& record) {
  auto& instruments = opened.instruments();
  const bool relays = instruments.paths && instruments.paths->can_tie();
  refuse(instruments, relays, asked);
  prove_bench(run, record);
  LeverWalk walk(code, taps, run, record, asked.harness, eye);
  GearWalk gear_walk(run, record);
  lever::RemarkedTaps seen;
  std::vector<lever::LeverStop> settled;
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

}  // namespace pinproof::session
