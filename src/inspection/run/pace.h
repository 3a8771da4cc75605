// How long the rest of a run may take, by what its steps have taken so far.
#pragma once

#include <array>
#include <chrono>
#include <optional>
#include <span>

#include "inspection/checks/plan.h"

namespace pinproof::inspection {

class Pace {
 public:
  void begin() { since_ = std::chrono::steady_clock::now(); }
  /// The step that begin() was called before.
  void took(const Step& step);
  /// Wall clock; nullopt before three steps were taken.
  std::optional<double> left_s(std::span<const Step> steps) const;

 private:
  struct StepPace {
    double mean_s = 0;
    std::size_t n = 0;
  };
  std::array<StepPace, 3> kinds_;  // as the alternatives of Step::action
  std::chrono::steady_clock::time_point since_;
};

}  // namespace pinproof::inspection
