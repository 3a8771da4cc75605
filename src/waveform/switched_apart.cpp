// Current and voltage that do not switch together.
#include <algorithm>
#include <cmath>
#include <span>

#include "waveform/pulse_scan.h"
#include "waveform/signal.h"

namespace pinproof::waveform {
namespace {

constexpr double kFallen = 0.02;  // of the late current: more is no drift
constexpr double kPlateau = 0.9;  // of the late current: below, it is not back on it
constexpr double kRisen = 0.63, kRiseShare = 0.15;  // of the late current, of the on phase
constexpr double kSlack_s = 30e-6;                  // between the channels of one instrument
constexpr double kAgo_s = 0.5e-3;                   // a fall is against the mean of so long ago
constexpr double kRelieved = 0.5;  // of the source's drop: the voltage rises as the load goes

struct LatePlateau {
  double middle_A = 0, fall_A = 0;
};

// Plateau of the current before the last part of the on phase, and what of a fall
// stands out of it; an amplitude of 0 where there is none.
LatePlateau plateau_of(const PulseScan& scan, const OnPhase& on) {
  const std::size_t n = on.size();
  const auto part = std::span(scan.amps).subspan(on.from + n / 2, n / 5);
  const double middle = upper_median_of({part.begin(), part.end()}) - scan.zero_A;
  const std::size_t third = part.size() / 3;
  const double drift = mean_of(part.last(third)) - mean_of(part.first(third));
  if (!(middle > std::max(10 * scan.noise_A, 0.6 * scan.most_A)) || std::abs(drift) > 0.1 * middle)
    return {};
  // A dip, too, stands still for a moment: the rise must long be over.
  const double level = scan.zero_A + kRisen * middle;
  const auto risen = first_run(scan.amps, on.from, 3, [&](double i) { return i > level; });
  if (!risen || static_cast<double>(*risen - on.from) > kRiseShare * static_cast<double>(n))
    return {};
  return {middle, std::max({kFallen * middle, 6 * scan.noise_A, 3 * deviation(part)})};
}

double before(const PulseScan& scan, std::size_t k) {
  const std::size_t n = scan.in(kAgo_s, 4);
  return k < 2 * n ? INFINITY : mean_of(std::span(scan.amps).subspan(k - 2 * n, n));
}

// An open circuit takes the load off the source, whose voltage rises by what the
// load took from it. A stiff source cannot tell, and nobody is blamed.
bool relieved(const PulseScan& scan, std::size_t k, const OnPhase& on) {
  const std::size_t n = scan.in(kAgo_s, 6);
  const bool open =
      mean_of(std::span(scan.amps).subspan(k + 2, 3)) - scan.zero_A < kNought * scan.most_A;
  if (!open) return false;
  if (on.size() < 4 * n || k < on.from + 3 * n) return true;
  const auto level = [&](std::size_t from) {
    return mean_of(std::span(scan.volts).subspan(from, n));
  };
  const auto first = scan.volts.begin() + static_cast<std::ptrdiff_t>(on.from);
  const double loaded = level(k - n - 3);
  const double drop = *std::max_element(first, first + static_cast<std::ptrdiff_t>(n)) - loaded;
  const std::size_t left = on.to > k + 4 ? std::min(n, on.to - k - 4) : 0;
  if (left < 2 || drop < 4 * scan.noise_V + 6 * scan.noise_V / std::sqrt(static_cast<double>(left)))
    return true;
  return mean_of(std::span(scan.volts).subspan(k + 2, left)) - loaded > kRelieved * drop;
}

// The current leaves its plateau at once although the voltage stands.
std::optional<Disturbance> early(const PulseScan& scan, const OnPhase& on,
                                 const LatePlateau& late) {
  const std::size_t apart = scan.in(kSlack_s, 5), last = on.to > apart ? on.to - apart : 0;
  const auto longest = static_cast<std::size_t>(kLongest * static_cast<double>(scan.amps.size()));
  const std::size_t stride = std::max<std::size_t>(1, scan.in(kAgo_s, 4) / 16);
  for (std::size_t k = std::max(on.from + on.size() / 2, on.to - std::min(on.to, longest));
       k <= last; k += stride) {
    const double level = before(scan, k), least = level - late.fall_A;
    if (level - scan.zero_A < kPlateau * late.middle_A) continue;
    if (scan.amps[k] > least || scan.amps[k + 1] > least || scan.amps[k + 2] > least) continue;
    const auto rest = std::span(scan.amps).subspan(k, on.to - k);
    if (*std::max_element(rest.begin(), rest.end()) > least) continue;
    if (relieved(scan, k, on)) return std::nullopt;
    return scan.at(DisturbanceKind::apart, k);
  }
  return std::nullopt;
}

// The voltage is gone and the current stands. How long it may is told by how long
// it takes to fall on.
std::optional<Disturbance> outlasts(const PulseScan& scan, const OnPhase& on,
                                    const LatePlateau& late) {
  std::size_t gone = on.to;
  while (gone < scan.volts.size() && scan.volts[gone] > scan.zero_V + 0.1 * scan.step_V) ++gone;
  // Held by the supply's limit at less than half of its voltage: another story.
  if (gone - on.to > scan.in(kGuard_s, 6)) return std::nullopt;
  const double level = before(scan, on.to);
  const auto falls = [&](double by) {
    return first_run(scan.amps, on.to - 3, 3, [&](double i) { return i < level - by; });
  };
  const auto one = falls(late.fall_A), three = falls(std::min(3 * late.fall_A, 0.9 * level));
  if (!one) return std::nullopt;
  const std::size_t slack = scan.in(kSlack_s, 5) + (three ? *three - *one : scan.amps.size());
  if (*one < gone + slack) return std::nullopt;
  const auto off = std::span(scan.volts).subspan(gone, slack);
  if (*std::max_element(off.begin(), off.end()) > scan.zero_V + 0.2 * scan.step_V)
    return std::nullopt;
  return scan.at(DisturbanceKind::apart, gone);
}

}  // namespace

// No current without voltage. Where it creeps the columns are exchanged, which is
// told elsewhere.
std::optional<Disturbance> starts_apart(const PulseScan& scan) {
  const double level = scan.zero_A + std::max(0.1 * scan.most_A, 10 * scan.noise_A);
  const auto risen = first_run(scan.amps, 0, 3, [&](double i) { return i > level; });
  if (!risen || *risen < 4 || *risen + 4 > scan.volts.size()) return std::nullopt;
  for (std::size_t k = *risen - 3; k < *risen + 4; ++k)
    if (scan.volts[k] > scan.zero_V + std::max(0.05 * scan.step_V, 6 * scan.noise_V))
      return std::nullopt;
  return scan.at(DisturbanceKind::apart, *risen);
}

std::optional<Disturbance> ends_apart(const PulseScan& scan) {
  const OnPhase on =
      *std::max_element(scan.phases.begin(), scan.phases.end(),
                        [](const OnPhase& a, const OnPhase& b) { return a.size() < b.size(); });
  if (on.to + 6 >= scan.volts.size() || on.size() < kFewestSamples / 2) return std::nullopt;
  const LatePlateau late = plateau_of(scan, on);
  if (!(late.middle_A > 0)) return std::nullopt;
  if (const auto seen = early(scan, on, late)) return seen;
  return outlasts(scan, on, late);
}

}  // namespace pinproof::waveform
