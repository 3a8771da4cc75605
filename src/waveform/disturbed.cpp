#include "waveform/disturbed.h"

#include <algorithm>
#include <cmath>
#include <span>
#include <vector>

#include "quantity/text.h"
#include "waveform/signal.h"

namespace pinproof::waveform {
namespace {

constexpr double kGuard_s = 0.3e-3;  // behind a switching edge: leakage, ringing, a bouncing switch
constexpr double kHold_s = 0.1e-3;   // what is shorter is no switching
constexpr std::size_t kMostRuns = 4;           // more on phases than that: modulated
constexpr std::size_t kReach = 6;              // samples on each side that a jump is compared with
constexpr double kClampShare = 0.1;            // of the step: what a clamp lets go at its end
constexpr double kJumpNoise = 8;               // standard deviations of one difference
constexpr double kJumpShare = 0.01;            // of the largest value
constexpr double kNought = 0.04;               // of the largest current: open
constexpr double kFlows = 0.1, kStands = 0.8;  // of the largest current, of the step
constexpr double kLongest = 0.25;  // of the capture: the longest block that is looked for
constexpr int kMostTried = 50;     // jumps behind which a repetition is looked for
constexpr double kBurst_s = 0.3e-3;
constexpr std::size_t kBurstSamples = 12, kBurstCount = 4;
constexpr double kBurstNoise = 8;     // of second differences
constexpr double kBurstShare = 5e-3;  // of the largest value
constexpr double kFallen = 0.02;      // of the late current: more is no drift
constexpr double kPlateau = 0.9;      // of the late current: below, it is not back on it
constexpr double kRisen = 0.63, kRiseShare = 0.15;  // of the late current, of the on phase
constexpr double kSlack_s = 30e-6;                  // between the channels of one instrument
constexpr double kAgo_s = 0.5e-3;                   // a fall is against the mean of so long ago
constexpr double kRelieved = 0.5;  // of the source's drop: the voltage rises as the load goes

struct Run {
  std::size_t from = 0, to = 0;  // samples; to is the first off again
  std::size_t size() const { return to - from; }
};

class Search {
 public:
  explicit Search(const Capture& c) : c_(c), amps_(without_spikes(c.current_A)) {
    if (!c.voltage_V.empty()) volts_ = without_spikes(c.voltage_V);
  }
  std::optional<Disturbance> run();
  std::optional<double> interruption();

 private:
  std::size_t in(double seconds, std::size_t least) const {
    const double n = std::clamp(std::round(seconds / c_.interval_s), 0.0, 1e9);
    return std::max(least, static_cast<std::size_t>(n));
  }
  Disturbance at(Disturbance::Kind kind, std::size_t k) const {
    return {kind, c_.time(static_cast<double>(k))};
  }
  bool prepare();
  void find_runs();
  bool on_at(std::size_t k) const { return volts_.empty() || volts_[k] > zero_V_ + step_V_ / 2; }
  void guard();
  void guard_one(std::size_t k, std::size_t before, std::size_t after);
  void guard_clamp_end();
  bool repeats(std::span<const double> x, std::size_t k, double noise) const;
  std::optional<Disturbance> jump(std::span<const double> x, bool current) const;
  std::optional<Disturbance> burst(std::span<const double> x) const;
  std::optional<Disturbance> starts_apart() const;
  std::optional<Disturbance> ends_apart() const;
  struct Plateau {
    double middle_A = 0, fall_A = 0;
  };
  Plateau plateau(const Run& on) const;
  double before(std::size_t k) const;
  std::optional<Disturbance> early(const Run& on, const Plateau& late) const;
  std::optional<Disturbance> outlasts(const Run& on, const Plateau& late) const;
  bool relieved(std::size_t k, const Run& on) const;

  const Capture& c_;
  std::vector<double> amps_, volts_;
  double zero_V_ = 0, zero_A_ = 0, step_V_ = 0, most_A_ = 0;
  double noise_A_ = 0, noise_V_ = 0;
  std::vector<Run> runs_;
  std::vector<char> guarded_;
};

double peak_of(std::span<const double> x, double zero) {
  double out = 0;
  for (const double s : x) out = std::max(out, std::abs(s - zero));
  return out;
}

// The noisier of the two halves: noise may grow with the signal.
double noise_in(std::span<const double> x) {
  const std::size_t half = x.size() / 2;
  return std::max({noise_of(x), noise_of(x.first(half)), noise_of(x.last(half))});
}

// Least-squares slope of a few samples.
double slope_in(std::span<const double> x) {
  const double n = static_cast<double>(x.size()), middle = (n - 1) / 2;
  double sum = 0;
  for (std::size_t k = 0; k < x.size(); ++k) sum += (static_cast<double>(k) - middle) * x[k];
  return 12 * sum / (n * (n * n - 1));
}

void Search::find_runs() {
  const double level = zero_V_ + step_V_ / 2;
  bool on = volts_[0] > level;
  Run run{0, 0};
  for (std::size_t k = 1; k <= volts_.size(); ++k) {
    const bool now = k < volts_.size() && volts_[k] > level;
    if (now && !on) run.from = k;
    if (on && !now) run.to = k, runs_.push_back(run);
    on = now;
  }
}

void Search::guard_one(std::size_t k, std::size_t before, std::size_t after) {
  const std::size_t from = k > before ? k - before : 0;
  std::fill(guarded_.begin() + static_cast<std::ptrdiff_t>(from),
            guarded_.begin() + static_cast<std::ptrdiff_t>(std::min(k + after, guarded_.size())),
            1);
}

// The current's end releases the voltage: once, for good, behind the last on phase.
void Search::guard_clamp_end() {
  std::size_t steepest = runs_.back().to;
  double most = kClampShare * step_V_;
  const auto level = [&](std::size_t from) {
    const auto first = volts_.begin() + static_cast<std::ptrdiff_t>(from);
    return upper_median_of({first, first + kReach - 1});
  };
  for (std::size_t k = runs_.back().to + in(kHold_s, kReach); k + kReach < volts_.size(); ++k) {
    if (volts_[k + 1] - volts_[k - 1] <= most / 4) continue;
    const double rise = level(k + 1) - level(k - kReach + 1);
    if (rise > most) most = rise, steepest = k;
  }
  if (steepest > runs_.back().to) guard_one(steepest, in(kGuard_s / 3, 6), in(kGuard_s, 6));
}

void Search::guard() {
  guarded_.assign(amps_.size(), 0);
  const double low = zero_V_ + 0.1 * step_V_, high = zero_V_ + 0.9 * step_V_;
  for (const Run& run : runs_) {
    // Slow edges from their foot to their top.
    std::size_t foot = run.from, top = run.from, end = run.to;
    while (foot > 0 && volts_[foot - 1] > low) --foot;
    while (top + 1 < run.to && volts_[top] < high) ++top;
    while (end < volts_.size() && volts_[end] > low) ++end;
    guard_one(foot, 4, top - foot + in(kGuard_s, 6));
    guard_one(run.to, 4, end - run.to + in(kGuard_s, 6));
    // A supply that goes into its limit, or comes out of it.
    for (std::size_t k = top + 1; k < run.to; ++k)
      if ((volts_[k] > high) != (volts_[k - 1] > high)) guard_one(k, 4, in(kGuard_s, 6));
  }
}

// The samples behind k are those before it once more, over a stretch that stands
// out of the noise.
bool Search::repeats(std::span<const double> x, std::size_t k, double noise) const {
  const auto longest = static_cast<std::size_t>(kLongest * static_cast<double>(x.size()));
  const double slack = std::max(6 * noise, 1e-9);
  for (std::size_t n = kReach; n < std::min({longest, k + 1, x.size() - k - 1}); ++n) {
    std::size_t j = 1;
    while (j <= n && std::abs(x[k + j] - x[k + j - n]) < slack) ++j;
    if (j > n && std::abs(x[k] - x[k + 1 - n]) > 2 * slack) return true;
  }
  return false;
}

// A difference that lies outside those of both sides is a jump; a corner's lies
// between them. Lost samples make the current jump on along its course.
std::optional<Disturbance> Search::jump(std::span<const double> x, bool current) const {
  const double noise = current ? noise_A_ : noise_V_;
  const double most = current ? most_A_ : step_V_, zero = current ? zero_A_ : zero_V_;
  const double least = std::max(kJumpNoise * M_SQRT2 * noise, kJumpShare * most);
  const double longest = kLongest * static_cast<double>(x.size());
  int tried = 0;
  for (std::size_t k = kReach + 1; k + kReach + 2 < x.size() && tried < kMostTried; ++k) {
    const double d = x[k + 1] - x[k];
    if (std::abs(2 * d - (x[k] - x[k - 1]) - (x[k + 2] - x[k + 1])) < least) continue;
    // While on, the voltage is the supply's, which may step as it likes.
    if (guarded_[k] || guarded_[k + 1] || (!current && on_at(k))) continue;
    const double before = slope_in(x.subspan(k - kReach, kReach + 1));
    const double after = slope_in(x.subspan(k + 1, kReach + 1));
    const double beyond = d - std::clamp(d, std::min(before, after), std::max(before, after));
    if (std::abs(beyond) < least) continue;
    ++tried;
    const auto near = x.subspan(k - kReach / 2, kReach + 2);
    const bool open =
        on_at(k) && *std::min_element(near.begin(), near.end()) - zero < kNought * most;
    if (current && open) continue;
    if (repeats(x, k, noise)) return at(Disturbance::Kind::doubled, k + 1);
    const double along = beyond > 0 ? std::max(before, after) : -std::min(before, after);
    const double sure = 5 * noise / std::sqrt(static_cast<double>(kReach * kReach * kReach) / 12);
    // A voltage may jump where something lets it go, a current only with its voltage.
    if (volts_.empty()) continue;
    if (current || (along > sure && along * longest > std::abs(beyond)))
      return at(Disturbance::Kind::lost, k + 1);
  }
  return std::nullopt;
}

// Many large second differences of both signs, close together.
std::optional<Disturbance> Search::burst(std::span<const double> x) const {
  const bool current = x.data() == amps_.data();
  const double noise = current ? noise_A_ : noise_V_, most = current ? most_A_ : step_V_;
  const double least = std::max(kBurstNoise * std::sqrt(6.0) * noise, kBurstShare * most);
  const std::size_t width = in(kBurst_s, kBurstSamples);
  std::vector<std::size_t> up, down;
  for (std::size_t k = 1; k + 1 < x.size(); ++k) {
    const double bend = x[k + 1] - 2 * x[k] + x[k - 1];
    if (std::abs(bend) < least || guarded_[k]) continue;
    // A winding that opens and closes is no noise.
    if (current && on_at(k) && std::min({x[k - 1], x[k], x[k + 1]}) - zero_A_ < kNought * most_A_)
      continue;
    (bend > 0 ? up : down).push_back(k);
    const auto near = [&](const std::vector<std::size_t>& marks) {
      return static_cast<std::size_t>(
          marks.end() - std::lower_bound(marks.begin(), marks.end(), k > width ? k - width : 0));
    };
    if (near(up) >= kBurstCount / 2 && near(down) >= kBurstCount / 2)
      return at(Disturbance::Kind::burst, k);
  }
  return std::nullopt;
}

// No current without voltage. Where it creeps the columns are exchanged, which is
// told elsewhere.
std::optional<Disturbance> Search::starts_apart() const {
  const double level = zero_A_ + std::max(0.1 * most_A_, 10 * noise_A_);
  const auto risen = first_run(amps_, 0, 3, [&](double i) { return i > level; });
  if (!risen || *risen < 4 || *risen + 4 > volts_.size()) return std::nullopt;
  for (std::size_t k = *risen - 3; k < *risen + 4; ++k)
    if (volts_[k] > zero_V_ + std::max(0.05 * step_V_, 6 * noise_V_)) return std::nullopt;
  return at(Disturbance::Kind::apart, *risen);
}

// Plateau of the current before the last part of the on phase, and what of a fall
// stands out of it; an amplitude of 0 where there is none.
Search::Plateau Search::plateau(const Run& on) const {
  const std::size_t n = on.size();
  const auto part = std::span(amps_).subspan(on.from + n / 2, n / 5);
  const double middle = upper_median_of({part.begin(), part.end()}) - zero_A_;
  const std::size_t third = part.size() / 3;
  const double drift = mean_of(part.last(third)) - mean_of(part.first(third));
  if (!(middle > std::max(10 * noise_A_, 0.6 * most_A_)) || std::abs(drift) > 0.1 * middle)
    return {};
  // A dip, too, stands still for a moment: the rise must long be over.
  const double level = zero_A_ + kRisen * middle;
  const auto risen = first_run(amps_, on.from, 3, [&](double i) { return i > level; });
  if (!risen || static_cast<double>(*risen - on.from) > kRiseShare * static_cast<double>(n))
    return {};
  return {middle, std::max({kFallen * middle, 6 * noise_A_, 3 * deviation(part)})};
}

double Search::before(std::size_t k) const {
  const std::size_t n = in(kAgo_s, 4);
  return k < 2 * n ? INFINITY : mean_of(std::span(amps_).subspan(k - 2 * n, n));
}

// An open circuit takes the load off the source, whose voltage rises by what the
// load took from it. A stiff source cannot tell, and nobody is blamed.
bool Search::relieved(std::size_t k, const Run& on) const {
  const std::size_t n = in(kAgo_s, 6);
  const bool open = mean_of(std::span(amps_).subspan(k + 2, 3)) - zero_A_ < kNought * most_A_;
  if (!open) return false;
  if (on.size() < 4 * n || k < on.from + 3 * n) return true;
  const auto level = [&](std::size_t from) { return mean_of(std::span(volts_).subspan(from, n)); };
  const auto first = volts_.begin() + static_cast<std::ptrdiff_t>(on.from);
  const double loaded = level(k - n - 3);
  const double drop = *std::max_element(first, first + static_cast<std::ptrdiff_t>(n)) - loaded;
  const std::size_t left = on.to > k + 4 ? std::min(n, on.to - k - 4) : 0;
  if (left < 2 || drop < 4 * noise_V_ + 6 * noise_V_ / std::sqrt(static_cast<double>(left)))
    return true;
  return mean_of(std::span(volts_).subspan(k + 2, left)) - loaded > kRelieved * drop;
}

// The current leaves its plateau at once although the voltage stands.
std::optional<Disturbance> Search::early(const Run& on, const Plateau& late) const {
  const std::size_t apart = in(kSlack_s, 5), last = on.to > apart ? on.to - apart : 0;
  const auto longest = static_cast<std::size_t>(kLongest * static_cast<double>(amps_.size()));
  const std::size_t stride = std::max<std::size_t>(1, in(kAgo_s, 4) / 16);
  for (std::size_t k = std::max(on.from + on.size() / 2, on.to - std::min(on.to, longest));
       k <= last; k += stride) {
    const double level = before(k), least = level - late.fall_A;
    if (level - zero_A_ < kPlateau * late.middle_A) continue;
    if (amps_[k] > least || amps_[k + 1] > least || amps_[k + 2] > least) continue;
    const auto rest = std::span(amps_).subspan(k, on.to - k);
    if (*std::max_element(rest.begin(), rest.end()) > least) continue;
    if (relieved(k, on)) return std::nullopt;
    return at(Disturbance::Kind::apart, k);
  }
  return std::nullopt;
}

// The voltage is gone and the current stands. How long it may is told by how long
// it takes to fall on.
std::optional<Disturbance> Search::outlasts(const Run& on, const Plateau& late) const {
  std::size_t gone = on.to;
  while (gone < volts_.size() && volts_[gone] > zero_V_ + 0.1 * step_V_) ++gone;
  // Held by the supply's limit at less than half of its voltage: another story.
  if (gone - on.to > in(kGuard_s, 6)) return std::nullopt;
  const double level = before(on.to);
  const auto falls = [&](double by) {
    return first_run(amps_, on.to - 3, 3, [&](double i) { return i < level - by; });
  };
  const auto one = falls(late.fall_A), three = falls(std::min(3 * late.fall_A, 0.9 * level));
  if (!one) return std::nullopt;
  const std::size_t slack = in(kSlack_s, 5) + (three ? *three - *one : amps_.size());
  if (*one < gone + slack) return std::nullopt;
  const auto off = std::span(volts_).subspan(gone, slack);
  if (*std::max_element(off.begin(), off.end()) > zero_V_ + 0.2 * step_V_) return std::nullopt;
  return at(Disturbance::Kind::apart, gone);
}

std::optional<Disturbance> Search::ends_apart() const {
  const Run on = *std::max_element(runs_.begin(), runs_.end(),
                                   [](const Run& a, const Run& b) { return a.size() < b.size(); });
  if (on.to + 6 >= volts_.size() || on.size() < kFewestSamples / 2) return std::nullopt;
  const Plateau late = plateau(on);
  if (!(late.middle_A > 0)) return std::nullopt;
  if (const auto seen = early(on, late)) return seen;
  return outlasts(on, late);
}

// The current must come back: one
// that ends early may have lost its last samples.
std::optional<double> Search::interruption() {
  if (volts_.empty() || !prepare()) return std::nullopt;
  const double nought = zero_A_ + kNought * most_A_, flows = zero_A_ + kFlows * most_A_;
  for (const Run& on : runs_) {
    std::size_t gone = 0;
    bool flowed = false;
    for (std::size_t k = on.from; k < on.to; ++k) {
      const bool stands = volts_[k] - zero_V_ > kStands * step_V_;
      if (!stands) gone = 0, flowed = false;
      if (flowed && gone == 0 && amps_[k] < nought) gone = k;
      if (gone > 0 && amps_[k] >= flows && k - gone >= in(kHold_s, 5))
        return c_.time(static_cast<double>(gone));
      if (amps_[k] >= flows) flowed = true, gone = 0;
    }
  }
  return std::nullopt;
}

// Whether there is a pulse to look at.
bool Search::prepare() {
  zero_A_ = upper_median_of({amps_.begin(), amps_.begin() + 5});
  most_A_ = peak_of(amps_, zero_A_);
  noise_A_ = noise_in(c_.current_A);
  if (!volts_.empty()) {
    zero_V_ = upper_median_of({volts_.begin(), volts_.begin() + 5});
    step_V_ = *std::max_element(volts_.begin(), volts_.end()) - zero_V_;
    noise_V_ = noise_in(c_.voltage_V);
    if (step_V_ < std::max(0.2, 10 * noise_V_)) return false;
    find_runs();
    if (runs_.size() > kMostRuns) return false;
  }
  return most_A_ > 10 * noise_A_;
}

std::optional<Disturbance> Search::run() {
  if (!prepare()) return std::nullopt;
  guard();
  if (!runs_.empty())
    for (const auto look : {&Search::starts_apart, &Search::ends_apart})
      if (const auto seen = (this->*look)()) return seen;
  if (const auto seen = burst(amps_)) return seen;
  if (const auto seen = jump(amps_, true)) return seen;
  if (runs_.empty()) return std::nullopt;
  guard_clamp_end();
  if (const auto seen = burst(volts_)) return seen;
  return jump(volts_, false);
}

}  // namespace

std::string text_of(const Disturbance& d) {
  const std::string when = " at " + format_si(d.at_s, Unit::second, 3);
  switch (d.kind) {
    case Disturbance::Kind::lost:
      return "the samples jump" + when +
             " as a whole coil's cannot: some were lost, or a joint comes and goes";
    case Disturbance::Kind::doubled:
      return "a stretch of samples comes twice" + when;
    case Disturbance::Kind::apart:
      return "current and voltage do not switch together" + when +
             ": samples of one of them were lost or came twice";
    case Disturbance::Kind::burst:
      return "a burst of noise" + when;
  }
  return "";
}

std::optional<Disturbance> find_disturbance(const Capture& capture) {
  return Search(capture).run();
}

std::optional<double> find_interruption(const Capture& capture) {
  return Search(capture).interruption();
}

}  // namespace pinproof::waveform
