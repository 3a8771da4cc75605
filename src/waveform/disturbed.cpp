#include "waveform/disturbed.h"

#include <algorithm>
#include <cmath>
#include <span>
#include <vector>

#include "quantity/text.h"
#include "waveform/pulse_scan.h"
#include "waveform/signal.h"

namespace pinproof::waveform {
namespace {

constexpr double kHold_s = 0.1e-3;             // what is shorter is no switching
constexpr std::size_t kReach = 6;              // samples on each side that a jump is compared with
constexpr double kClampShare = 0.1;            // of the step: what a clamp lets go at its end
constexpr double kJumpNoise = 8;               // standard deviations of one difference
constexpr double kJumpShare = 0.01;            // of the largest value
constexpr double kFlows = 0.1, kStands = 0.8;  // of the largest current, of the step
constexpr int kMostTried = 50;                 // jumps behind which a repetition is looked for
constexpr double kBurst_s = 0.3e-3;            // how close the swings of a burst stand together
constexpr std::size_t kBurstSamples = 12, kBurstCount = 4;  // at least; swings, half of each sign
constexpr double kBurstNoise = 8;                           // of second differences
constexpr double kBurstShare = 5e-3;                        // of the largest value

// One of the two channels, and what it is measured by.
struct Trace {
  std::span<const double> x;
  bool current = false;
  double zero = 0, most = 0, noise = 0;
};

// The difference of two neighbours that lies outside those of both sides.
struct Leap {
  double before = 0, after = 0;  // slopes of both sides, a sample
  double beyond = 0;
};

class DisturbanceSearch {
 public:
  explicit DisturbanceSearch(const Capture& capture) : scan_(capture) {}
  std::optional<Disturbance> run();
  std::optional<double> interruption();

 private:
  Trace amps() const { return {scan_.amps, true, scan_.zero_A, scan_.most_A, scan_.noise_A}; }
  Trace volts() const { return {scan_.volts, false, scan_.zero_V, scan_.step_V, scan_.noise_V}; }
  void guard();
  void guard_one(std::size_t k, std::size_t before, std::size_t after);
  void guard_clamp_end();
  bool excused(const Trace& trace, std::size_t k) const;
  bool opens(const Trace& trace, std::size_t k) const;
  std::optional<Disturbance> jump(const Trace& trace) const;
  std::optional<Disturbance> burst(const Trace& trace) const;

  PulseScan scan_;
  std::vector<char> guarded_;
};

// Least-squares slope of a few samples.
double slope_in(std::span<const double> x) {
  const double n = static_cast<double>(x.size()), middle = (n - 1) / 2;
  double sum = 0;
  for (std::size_t k = 0; k < x.size(); ++k) sum += (static_cast<double>(k) - middle) * x[k];
  return 12 * sum / (n * (n * n - 1));
}

void DisturbanceSearch::guard_one(std::size_t k, std::size_t before, std::size_t after) {
  const std::size_t from = k > before ? k - before : 0;
  std::fill(guarded_.begin() + static_cast<std::ptrdiff_t>(from),
            guarded_.begin() + static_cast<std::ptrdiff_t>(std::min(k + after, guarded_.size())),
            1);
}

// The current's end releases the voltage: once, for good, behind the last on phase.
void DisturbanceSearch::guard_clamp_end() {
  std::size_t steepest = scan_.phases.back().to;
  double most = kClampShare * scan_.step_V;
  const auto level = [&](std::size_t from) {
    const auto first = scan_.volts.begin() + static_cast<std::ptrdiff_t>(from);
    return upper_median_of({first, first + kReach - 1});
  };
  for (std::size_t k = scan_.phases.back().to + scan_.in(kHold_s, kReach);
       k + kReach < scan_.volts.size(); ++k) {
    if (scan_.volts[k + 1] - scan_.volts[k - 1] <= most / 4) continue;
    const double rise = level(k + 1) - level(k - kReach + 1);
    if (rise > most) most = rise, steepest = k;
  }
  if (steepest > scan_.phases.back().to)
    guard_one(steepest, scan_.in(kGuard_s / 3, 6), scan_.in(kGuard_s, 6));
}

void DisturbanceSearch::guard() {
  guarded_.assign(scan_.amps.size(), 0);
  const double low = scan_.zero_V + 0.1 * scan_.step_V, high = scan_.zero_V + 0.9 * scan_.step_V;
  for (const OnPhase& run : scan_.phases) {
    // Slow edges from their foot to their top.
    std::size_t foot = run.from, top = run.from, end = run.to;
    while (foot > 0 && scan_.volts[foot - 1] > low) --foot;
    while (top + 1 < run.to && scan_.volts[top] < high) ++top;
    while (end < scan_.volts.size() && scan_.volts[end] > low) ++end;
    guard_one(foot, 4, top - foot + scan_.in(kGuard_s, 6));
    guard_one(run.to, 4, end - run.to + scan_.in(kGuard_s, 6));
    // A supply that goes into its limit, or comes out of it.
    for (std::size_t k = top + 1; k < run.to; ++k)
      if ((scan_.volts[k] > high) != (scan_.volts[k - 1] > high))
        guard_one(k, 4, scan_.in(kGuard_s, 6));
  }
}

// The samples behind k are those before it once more, over a stretch that stands
// out of the noise.
bool repeats(std::span<const double> x, std::size_t k, double noise) {
  const auto longest = static_cast<std::size_t>(kLongest * static_cast<double>(x.size()));
  const double slack = std::max(6 * noise, 1e-9);
  for (std::size_t n = kReach; n < std::min({longest, k + 1, x.size() - k - 1}); ++n) {
    std::size_t j = 1;
    while (j <= n && std::abs(x[k + j] - x[k + j - n]) < slack) ++j;
    if (j > n && std::abs(x[k] - x[k + 1 - n]) > 2 * slack) return true;
  }
  return false;
}

Leap leap_at(std::span<const double> x, std::size_t k) {
  const double d = x[k + 1] - x[k];
  Leap out;
  out.before = slope_in(x.subspan(k - kReach, kReach + 1));
  out.after = slope_in(x.subspan(k + 1, kReach + 1));
  out.beyond = d - std::clamp(d, std::min(out.before, out.after), std::max(out.before, out.after));
  return out;
}

// Along the course of one of its sides, and no further than the longest block would go.
bool goes_along(const Leap& leap, const Trace& trace) {
  const double along =
      leap.beyond > 0 ? std::max(leap.before, leap.after) : -std::min(leap.before, leap.after);
  const double sure =
      5 * trace.noise / std::sqrt(static_cast<double>(kReach * kReach * kReach) / 12);
  const double longest = kLongest * static_cast<double>(trace.x.size());
  return along > sure && along * longest > std::abs(leap.beyond);
}

// While on, the voltage is the supply's, which may step as it likes.
bool DisturbanceSearch::excused(const Trace& trace, std::size_t k) const {
  return guarded_[k] || guarded_[k + 1] || (!trace.current && scan_.on_at(k));
}

bool DisturbanceSearch::opens(const Trace& trace, std::size_t k) const {
  const auto near = trace.x.subspan(k - kReach / 2, kReach + 2);
  return trace.current && scan_.on_at(k) &&
         *std::min_element(near.begin(), near.end()) - trace.zero < kNought * trace.most;
}

// A difference that lies outside those of both sides is a jump; a corner's lies
// between them. Lost samples make the current jump on along its course.
std::optional<Disturbance> DisturbanceSearch::jump(const Trace& trace) const {
  const auto x = trace.x;
  const double least = std::max(kJumpNoise * M_SQRT2 * trace.noise, kJumpShare * trace.most);
  int tried = 0;
  for (std::size_t k = kReach + 1; k + kReach + 2 < x.size() && tried < kMostTried; ++k) {
    const double d = x[k + 1] - x[k];
    if (std::abs(2 * d - (x[k] - x[k - 1]) - (x[k + 2] - x[k + 1])) < least) continue;
    if (excused(trace, k)) continue;
    const Leap leap = leap_at(x, k);
    if (std::abs(leap.beyond) < least) continue;
    ++tried;
    if (opens(trace, k)) continue;
    if (repeats(x, k, trace.noise)) return scan_.at(DisturbanceKind::doubled, k + 1);
    // A voltage may jump where something lets it go, a current only with its voltage.
    if (scan_.volts.empty()) continue;
    if (trace.current || goes_along(leap, trace)) return scan_.at(DisturbanceKind::lost, k + 1);
  }
  return std::nullopt;
}

// Many large second differences of both signs, close together.
std::optional<Disturbance> DisturbanceSearch::burst(const Trace& trace) const {
  const auto x = trace.x;
  const double least =
      std::max(kBurstNoise * std::sqrt(6.0) * trace.noise, kBurstShare * trace.most);
  const std::size_t width = scan_.in(kBurst_s, kBurstSamples);
  std::vector<std::size_t> up, down;
  for (std::size_t k = 1; k + 1 < x.size(); ++k) {
    const double bend = x[k + 1] - 2 * x[k] + x[k - 1];
    if (std::abs(bend) < least || guarded_[k]) continue;
    // A winding that opens and closes is no noise.
    if (trace.current && scan_.on_at(k) &&
        std::min({x[k - 1], x[k], x[k + 1]}) - trace.zero < kNought * trace.most)
      continue;
    (bend > 0 ? up : down).push_back(k);
    const auto near = [&](const std::vector<std::size_t>& marks) {
      return static_cast<std::size_t>(
          marks.end() - std::lower_bound(marks.begin(), marks.end(), k > width ? k - width : 0));
    };
    if (near(up) >= kBurstCount / 2 && near(down) >= kBurstCount / 2)
      return scan_.at(DisturbanceKind::burst, k);
  }
  return std::nullopt;
}

// The current must come back: one that ends early may have lost its last samples.
std::optional<double> DisturbanceSearch::interruption() {
  if (scan_.volts.empty() || !scan_.has_pulse) return std::nullopt;
  const double nought = scan_.zero_A + kNought * scan_.most_A,
               flows = scan_.zero_A + kFlows * scan_.most_A;
  for (const OnPhase& on : scan_.phases) {
    std::size_t gone = 0;
    bool flowed = false;
    for (std::size_t k = on.from; k < on.to; ++k) {
      const bool stands = scan_.volts[k] - scan_.zero_V > kStands * scan_.step_V;
      if (!stands) gone = 0, flowed = false;
      if (flowed && gone == 0 && scan_.amps[k] < nought) gone = k;
      if (gone > 0 && scan_.amps[k] >= flows && k - gone >= scan_.in(kHold_s, 5))
        return scan_.capture.time(static_cast<double>(gone));
      if (scan_.amps[k] >= flows) flowed = true, gone = 0;
    }
  }
  return std::nullopt;
}

std::optional<Disturbance> DisturbanceSearch::run() {
  if (!scan_.has_pulse) return std::nullopt;
  guard();
  if (!scan_.phases.empty())
    for (const auto look : {starts_apart, ends_apart})
      if (const auto seen = look(scan_)) return seen;
  if (const auto seen = burst(amps())) return seen;
  if (const auto seen = jump(amps())) return seen;
  if (scan_.phases.empty()) return std::nullopt;
  guard_clamp_end();
  if (const auto seen = burst(volts())) return seen;
  return jump(volts());
}

}  // namespace

std::string text_of(const Disturbance& d) {
  const std::string when = " at " + format_si(d.at_s, Unit::second, 3);
  switch (d.kind) {
    case DisturbanceKind::lost:
      return "the samples jump" + when +
             " as a whole coil's cannot: some were lost, or a joint comes and goes";
    case DisturbanceKind::doubled:
      return "a stretch of samples comes twice" + when;
    case DisturbanceKind::apart:
      return "current and voltage do not switch together" + when +
             ": samples of one of them were lost or came twice";
    case DisturbanceKind::burst:
      return "a burst of noise" + when;
  }
  return "";
}

std::optional<Disturbance> find_disturbance(const Capture& capture) {
  return DisturbanceSearch(capture).run();
}

std::optional<double> find_interruption(const Capture& capture) {
  return DisturbanceSearch(capture).interruption();
}

}  // namespace pinproof::waveform
