#include "inspection/run/pace.h"

#include <algorithm>

namespace pinproof::inspection {
namespace {

constexpr std::size_t kEnough = 3;
constexpr double kMemory = 12;  // steps: a technician gets faster, and tired

}  // namespace

void Pace::took(const Step& step) {
  const double s = std::chrono::duration<double>(std::chrono::steady_clock::now() - since_).count();
  StepPace& kind = kinds_.at(step.action.index());
  ++kind.n;
  kind.mean_s += (s - kind.mean_s) / std::min(static_cast<double>(kind.n), kMemory);
}

std::optional<double> Pace::left_s(std::span<const Step> steps) const {
  std::size_t n = 0;
  double known_s = 0;
  for (const StepPace& kind : kinds_) n += kind.n, known_s = std::max(known_s, kind.mean_s);
  if (n < kEnough) return std::nullopt;
  double out = 0;
  // What has not been done yet takes as long as the slowest that has.
  for (const Step& step : steps) {
    const StepPace& kind = kinds_.at(step.action.index());
    out += kind.n > 0 ? kind.mean_s : known_s;
  }
  return out;
}

}  // namespace pinproof::inspection
