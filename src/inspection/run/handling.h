// The bench in the hands of a run: brought into a state, read, and made safe again.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "bench/energise.h"
#include "inspection/run/measure.h"
#include "inspection/run/run.h"
#include "network/model.h"

namespace pinproof::inspection {

class Handling {
 public:
  /// `options` must outlive it.
  explicit Handling(const RunOptions& options);

  /// Moves lever and air, only where the state changes. Throws Error.
  record::Condition reach(const network::PackState& state);
  /// The same, after a person has plugged the harness in or out, warmed the pack through or let it
  /// cool. The ties of the situation are the paths' own. Throws Error, Detour.
  record::Condition reach(const network::Situation& situation);
  Measure& measure() { return measure_; }
  /// Where a person has had hands on the pack since the last one, asks for them to be taken away
  /// first. Throws Error, Detour.
  record::PulseCapture drive(const record::Key& key, const DriveStep& step,
                             const record::Condition& condition);

  /// Of a run that was cut off: nobody knows how long ago its last pulse was, recorded or not.
  void assume_pulsed(const record::Record& record);

  /// Output off first, then air, then relays; each is tried whatever the others did. Throws the
  /// first Error.
  void make_safe();
  /// After `error`: makes the bench safe, and says so where that fails. Empty, or what to add to
  /// the error's text.
  std::string make_safe_after_trouble();

 private:
  void warm(bool hot);
  void plug(bool plugged);
  void ask(const char* kind, const std::string& what);
  void stand_clear();

  const RunOptions& options_;
  Measure measure_;
  bench::Energising energising_;
  std::optional<std::size_t> lever_;
  std::vector<std::string> air_;
  bool air_known_ = false;
  bool hands_near_ = false;
  // Empty while a person is asked for it: nobody knows whether it was done.
  std::optional<bool> hot_ = false, plugged_;
};

}  // namespace pinproof::inspection
