// Takes the steps of a plan on a bench and tells what happened as events.
#pragma once

#include <functional>
#include <optional>
#include <stop_token>
#include <vector>

#include "bench/description.h"
#include "bench/energise.h"
#include "bench/ports.h"
#include "inspection/checks/plan.h"
#include "record/record.h"

namespace pinproof::inspection {

/// What a run is about to do.
struct Ahead {
  const Step* step = nullptr;
  std::size_t done = 0;          ///< steps of the plan that are behind it
  std::size_t of = 0;            ///< of the plan as it is known now; the follow-up may add some
  std::optional<double> left_s;  ///< wall clock, from what the steps took so far; none at first
};

/// Looks ahead with a run, where a record::Listener looks back. No part of the record.
class Watcher {
 public:
  virtual ~Watcher() = default;
  virtual void on_step(const Ahead& ahead) = 0;
};

struct RunOptions {
  const profile::Profile* profile = nullptr;
  const bench::Description* bench = nullptr;
  bench::Instruments* instruments = nullptr;
  std::vector<record::Listener*> listeners;
  std::vector<Watcher*> watchers;
  std::stop_token stop;
  bool full = true;
  bool only_bench = false;  ///< the self-check and nothing else
  /// The record holds the beginning of this run: the bench is checked anew, what was answered is
  /// not asked again, and every coil is taken to be warm.
  bool resumed = false;
  double answer_s = 10;              ///< an instrument that has not answered for so long has failed
  std::function<double()> now_s;     ///< since the start of the run; recorded with each reading
  std::function<void(double)> wait;  ///< sleeps that long; throws Error(aborted) when stopped
};

Capabilities capabilities_of(const bench::Description& bench,
                             const bench::Instruments& instruments);

/// Runs the whole inspection: bench check, plan, follow-up, bench check again.
/// A bench that fails ends the run with BenchTrouble and Finished{false}; it
/// never throws for that. Throws Error(aborted) when stopped, after the output
/// is off, the relays are open and the air is vented.
void run_inspection(const RunOptions& options, record::Record& record);

}  // namespace pinproof::inspection
