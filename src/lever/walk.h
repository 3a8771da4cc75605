// The lever on the move: bouncing, noisy looks at all contacts in, settled words out. Pure.
#pragma once

#include <array>
#include <optional>
#include <vector>

#include "lever/line_faults.h"

namespace pinproof::lever {

struct WalkOptions {
  double debounce_s = 0.02;  ///< a contact has changed when it has been the other way for so long
  double settle_s = 0.3;     ///< and the lever stands when none has changed for so long
};

/// The lever stood still.
struct LeverStop {
  Word word;
  std::vector<std::size_t> positions;  ///< whose code it is: none, one, or several
  double from_s = 0;                   ///< of the last change before it
  double at_s = 0;                     ///< when it was settled
  std::size_t bounces = 0;  ///< changes of single contacts on the way here beyond one for each that
                            ///< has changed
};

class Walk {
 public:
  /// `code` must outlive it.
  explicit Walk(const RangeCode& code, WalkOptions options = {});

  /// One look at all contacts, at a rising time. Returns what has just settled: once for each
  /// stand, and not again where the lever went away and came back to the same word without settling
  /// elsewhere.
  std::optional<LeverStop> add(double at_s, const Word& look);

  /// What is believed now, settled or not.
  const Word& word() const { return now_; }
  bool standing() const { return told_; }
  const std::vector<LeverStop>& settled() const { return settled_; }

 private:
  void follow(std::size_t column, const Word& look, double dt);

  const RangeCode& code_;
  WalkOptions options_;
  Word now_, last_look_;
  std::array<double, kMostColumns> against_s_{};  // how long each column has been the other way
  double last_s_ = 0, changed_s_ = 0;
  bool begun_ = false, told_ = false;
  std::size_t raw_changes_ = 0;
  Word before_;  // the last settled word
  std::vector<LeverStop> settled_;
};

}  // namespace pinproof::lever
