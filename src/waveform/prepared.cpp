#include "waveform/prepared.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "waveform/residuals.h"
#include "waveform/signal.h"

namespace pinproof::waveform {
namespace {

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
constexpr double kLeastStep_V = 0.2;  // less is no switch-on
constexpr double kLeastStep_A = 5e-3;
constexpr double kSlowStep_s = 0.3e-3;  // a plunger's times mean nothing behind a slower edge
constexpr double kHold_s = 0.1e-3;      // what is shorter is a spike and not a switching
constexpr double kSilent = 1e-5;        // of the largest sample: less is no noise
constexpr double kMostColour = 30;
constexpr std::size_t kZeroSamples = 8;  // fewest for a zero line

bool exceeds(std::span<const double> x, double end) {
  return end > 0 &&
         std::any_of(x.begin(), x.end(), [end](double s) { return std::abs(s) >= 0.999 * end; });
}

// The longest run of samples at exactly the largest value.
struct TopRun {
  std::size_t start = 0, length = 0;
};

TopRun top_run(std::span<const double> x) {
  const double top = *std::max_element(x.begin(), x.end());
  TopRun out;
  std::size_t run = 0;
  for (std::size_t k = 0; k < x.size(); ++k) {
    run = x[k] == top ? run + 1 : 0;
    if (run > out.length) out = {k + 1 - run, run};
  }
  return out;
}

// A signal cut off by a range nobody told us of stands still at exactly its
// largest value: after an abrupt corner, or although it is noisy elsewhere. A
// settled quantised current stands still too, but slows down before.
// `quiet` are samples before the pulse.
bool looks_clipped(std::span<const double> x, std::span<const double> quiet) {
  const auto [start, length] = top_run(x);
  if (length < std::max<std::size_t>(10, x.size() / 20) || start == 0) return false;
  const std::size_t far = std::min(start, std::clamp<std::size_t>(length / 4, 5, 50));
  const std::size_t near = std::max<std::size_t>(1, far / 8);
  const double top = x[start], quantum = quantum_of(x);
  const double far_fall = top - x[start - far], near_fall = top - x[start - near];
  const double share = static_cast<double>(near) / static_cast<double>(far);
  const bool corner = far_fall > std::max(0.015 * top, 2.5 * quantum) &&
                      near_fall > 1.5 * quantum && near_fall > 0.4 * share * far_fall;
  const bool noisy = quiet.size() >= 20 && noise_of(quiet) > quantum;
  return corner || (length >= 30 && noisy);
}

class Preparation {
 public:
  Preparation(const Capture& capture, const AnalysisOptions& options)
      : capture_(capture), options_(options) {}

  Prepared run() {
    for (const auto step :
         {&Preparation::refuse, &Preparation::take, &Preparation::find_on, &Preparation::find_off,
          &Preparation::refuse_swapped, &Preparation::refuse_more_steps,
          &Preparation::refuse_clipped, &Preparation::remove_zero_lines}) {
      out_.status = (this->*step)();
      if (out_.status != Status::ok) return out_;
    }
    if (slow_) out_.status = Status::slow_step;
    if (late_) out_.status = Status::late_start;
    return out_;
  }

 private:
  Status refuse();
  Status take();
  Status find_on();
  bool follow(const std::vector<double>& x, double noise, double least);
  bool starts_on() const;
  Status find_on_by_current(double base);
  Status find_off();
  void find_off_by_voltage();
  void find_off_by_current();
  Status refuse_swapped();
  Status refuse_more_steps();
  Status refuse_clipped();
  Status remove_zero_lines();
  double step_u(const std::vector<double>& x) const;
  double zero_of(const std::vector<double>& x, double offset_u, double& u, double noise,
                 double& colour) const;
  std::size_t hold() const { return out_.samples_in(kHold_s, 5); }

  const Capture& capture_;
  const AnalysisOptions& options_;
  Prepared out_;
  bool by_voltage_ = false;   // the voltage shows the switching; else the current
  std::vector<double> lead_;  // that channel, zero line and spikes removed
  double lead_noise_ = 0;
  double lead_peak_ = 0;
  bool slow_ = false;
  bool late_ = false;      // on at the first sample
  double base_ = 0;        // the followed channel's first level
  std::size_t quiet_ = 0;  // samples before the first sign of the step
};

Status Preparation::refuse() {
  const auto finite = [](const std::vector<double>& x) {
    return std::all_of(x.begin(), x.end(), [](double s) { return std::isfinite(s); });
  };
  if (!finite(capture_.current_A) || !finite(capture_.voltage_V)) return Status::not_finite;
  if (!fault_in(capture_).empty()) return Status::too_short;
  if (capture_.voltage_V.empty() && !(options_.supply_V > 0)) return Status::no_voltage;
  return exceeds(capture_.current_A, options_.clip_A) ? Status::clipped : Status::ok;
}

Status Preparation::take() {
  out_.interval_s = capture_.interval_s;
  out_.start_s = capture_.start_s;
  out_.current_A = capture_.current_A;
  out_.voltage_V = capture_.voltage_V;
  out_.voltage_measured = !capture_.voltage_V.empty();
  out_.current_noise_A = noise_of(out_.current_A);
  out_.voltage_noise_V = out_.voltage_measured ? noise_of(out_.voltage_V) : 0;
  out_.off = out_.size();
  out_.off_index = kNan;
  return Status::ok;
}

// Takes a channel as the one that shows the switching, if it steps at all from
// its first level, the median of the first five samples.
bool Preparation::follow(const std::vector<double>& x, double noise, double least) {
  lead_ = without_spikes(x);
  lead_noise_ = noise;
  base_ = upper_median_of({lead_.begin(), lead_.begin() + 5});
  const double low = *std::min_element(lead_.begin(), lead_.end());
  const double high = *std::max_element(lead_.begin(), lead_.end());
  // Already on at the first sample: the zero line is then not in the capture.
  const double zero = base_ > 0.5 * high && high - low > 0.5 * high ? 0 : base_;
  for (double& s : lead_) s -= zero;
  // The spike of a missing clamp may be many times the step.
  const double up = high - zero, down = zero - low;
  lead_peak_ = up >= std::max(least, 5 * noise) ? up : std::max(up, down);
  return lead_peak_ >= std::max(least, 5 * noise) && std::max(up, down) >= 10 * noise;
}

Status Preparation::find_on() {
  by_voltage_ = out_.voltage_measured && follow(out_.voltage_V, out_.voltage_noise_V, kLeastStep_V);
  if (!by_voltage_ && !follow(out_.current_A, out_.current_noise_A, kLeastStep_A))
    return Status::no_step;
  const double least = std::max(
      {(by_voltage_ ? 0.1 : 0.05) * lead_peak_, 5 * lead_noise_, by_voltage_ ? kLeastStep_V : 0});
  const auto away = first_run(lead_, 0, 3, [least](double s) { return std::abs(s) > least; });
  if (!away) return Status::no_step;
  if (lead_[*away] < 0) return Status::wrong_polarity;
  out_.on = quiet_ = *away;
  late_ = starts_on();
  return by_voltage_ ? Status::ok : find_on_by_current(least);
}

// Whether the first sample already shows the pulse, so that its onset is unknown.
bool Preparation::starts_on() const {
  if (!out_.voltage_measured) {
    if (base_ < 0.05 * (base_ + lead_peak_)) return false;
    // A zero line that is off stands still; a current that has begun rises.
    const std::size_t part = quiet_ / 4;
    if (quiet_ < kZeroSamples) return true;
    const auto quiet = std::span(lead_).first(quiet_);
    const double noise = lead_noise_ / std::sqrt(static_cast<double>(part));
    return mean_of(quiet.last(part)) - mean_of(quiet.first(part)) > 4 * noise;
  }
  const double first = upper_median_of({out_.voltage_V.begin(), out_.voltage_V.begin() + 5});
  const double highest = *std::max_element(out_.voltage_V.begin(), out_.voltage_V.end());
  return first > std::max(kLeastStep_V, 0.5 * highest);
}

// A line through two low levels, carried back to zero.
Status Preparation::find_on_by_current(double least) {
  const double peak = *std::max_element(lead_.begin(), lead_.end());
  const std::size_t from = out_.on > 4 ? out_.on - 4 : 1;
  const double low = std::max(least, 0.03 * peak), high = low + 0.07 * peak;
  const auto at_low = rises_through(lead_, low, from), at_high = rises_through(lead_, high, from);
  if (!at_low || !at_high) return out_.on == 0 ? Status::ok : Status::no_step;
  const double back = (*at_high - *at_low) * low / (high - low);
  out_.on_index = std::max(0.0, *at_low - back);
  out_.on = static_cast<std::size_t>(out_.on_index) + 1;
  out_.on_u_s = out_.model_u_s = out_.interval_s * std::hypot(1 / std::sqrt(3.0), back / 3);
  return Status::ok;
}

Status Preparation::find_off() {
  if (by_voltage_)
    find_off_by_voltage();
  else
    find_off_by_current();
  if (out_.off < out_.on + kFewestSamples / 2) return Status::too_short;
  const std::vector<double>& volts = by_voltage_ ? lead_ : out_.voltage_V;
  out_.step_V = !out_.voltage_measured
                    ? options_.supply_V
                    : *std::max_element(volts.begin() + static_cast<std::ptrdiff_t>(out_.on),
                                        volts.begin() + static_cast<std::ptrdiff_t>(out_.off));
  if (!by_voltage_) return Status::ok;
  const std::size_t from = out_.on > 3 ? out_.on - 3 : 1;
  out_.on_index = rises_through(lead_, 0.5 * out_.step_V, from).value_or(0);
  const auto top = rises_through(lead_, 0.9 * out_.step_V, from).value_or(0);
  const double edge_s = out_.seconds(top, static_cast<double>(out_.on));
  // Linear interpolation knows an edge inside one interval to a part of it.
  out_.on_u_s = std::max(out_.interval_s, edge_s) / std::sqrt(12.0);
  // Over several samples of an edge the straight lines between them miss little:
  // at a corner f (1 - f) / 2 of the slope times interval^2, f anywhere in 0 .. 1,
  // whose means cancel between the two corners.
  out_.model_u_s = edge_s >= 1.5 * out_.interval_s
                       ? 0.053 * out_.interval_s * out_.interval_s / edge_s
                       : out_.interval_s / std::sqrt(12.0);
  out_.on = static_cast<std::size_t>(out_.on_index) + (out_.on_index > 0 ? 1 : 0);
  // The first sign stands out of the noise only after part of a slow edge.
  quiet_ -= std::min(quiet_, static_cast<std::size_t>(std::max(0.0, edge_s / out_.interval_s / 4)));
  slow_ = edge_s > std::max(kSlowStep_s, 2.5 * out_.interval_s);
  // Of a pulse that breaks up at once, half of the step can come after the end.
  return out_.off < out_.on + kFewestSamples / 2 ? Status::too_short : Status::ok;
}

void Preparation::find_off_by_voltage() {
  const double low = std::max({0.03 * lead_peak_, 5 * lead_noise_, kLeastStep_V});
  const auto gone = first_run(lead_, out_.on + 3, hold(), [low](double s) { return s < low; });
  if (!gone) return;
  out_.off = *gone;
  const std::size_t from = std::max(out_.on + 1, *gone > 12 ? *gone - 12 : 0);
  const std::size_t to = std::max(from + 1, *gone > 3 ? *gone - 3 : 0);
  const double before = upper_median_of({lead_.begin() + static_cast<std::ptrdiff_t>(from),
                                         lead_.begin() + static_cast<std::ptrdiff_t>(to)});
  const auto edge = falls_through(lead_, 0.5 * before, to > 1 ? to - 1 : 1);
  out_.off_index = edge ? *edge : static_cast<double>(*gone);
  if (edge) out_.off = std::min(*gone, static_cast<std::size_t>(*edge) + 1);
}

// The current decays behind a diode: go back from half of it to where it left
// its plateau.
void Preparation::find_off_by_current() {
  const double peak = *std::max_element(lead_.begin(), lead_.end());
  const auto risen = rises_through(lead_, 0.5 * peak, out_.on > 1 ? out_.on - 1 : 1);
  const auto gone = first_run(lead_, risen ? static_cast<std::size_t>(*risen) + 1 : out_.on + 3,
                              hold(), [&](double s) { return s < 0.2 * peak; });
  if (!gone) return;
  const std::size_t from = out_.on + (*gone - out_.on) / 2;
  const double plateau = upper_median_of({lead_.begin() + static_cast<std::ptrdiff_t>(from),
                                          lead_.begin() + static_cast<std::ptrdiff_t>(*gone)});
  const double least = plateau - std::max(0.03 * plateau, 4 * lead_noise_);
  std::size_t k = *gone;
  while (k > out_.on + 1 && lead_[k - 1] < least) --k;
  out_.off = k;
  out_.off_index = static_cast<double>(k) - 0.5;
}

// A coil's current follows its voltage. Where the current is up at once and the
// voltage creeps, one was taken for the other.
Status Preparation::refuse_swapped() {
  if (!out_.voltage_measured || late_) return Status::ok;
  const auto rise_s = [&](const std::vector<double>& x) {
    const auto quiet = std::span(x).first(std::max<std::size_t>(1, quiet_));
    const double zero = mean_of(quiet);
    const auto on = std::span(x).subspan(out_.on, out_.off - out_.on);
    const double top = mean_of(on.subspan(on.size() / 4, on.size() / 2)) - zero;
    const auto high =
        first_run(on, 0, 3, [&](double s) { return (s - zero) * top > 0.7 * top * top; });
    return high ? static_cast<double>(*high) * out_.interval_s : 0.0;
  };
  const double volts = rise_s(out_.voltage_V), amps = rise_s(out_.current_A);
  return volts > std::max(kSlowStep_s, 10 * amps) ? Status::swapped : Status::ok;
}

Status Preparation::refuse_more_steps() {
  if (!out_.has_off()) return Status::ok;
  const double level = by_voltage_ ? out_.step_V : *std::max_element(lead_.begin(), lead_.end());
  std::size_t from = out_.off + hold();
  if (!by_voltage_) {
    const auto low = first_run(lead_, out_.off, hold(), [&](double s) { return s < 0.25 * level; });
    if (!low) return Status::ok;
    from = *low;
  }
  const auto again = first_run(lead_, from, hold(), [&](double s) { return s > 0.5 * level; });
  const bool lasts = again && *again + hold() <= out_.size();
  return lasts ? Status::two_steps : Status::ok;
}

Status Preparation::refuse_clipped() {
  const auto quiet = std::span(capture_.current_A).first(quiet_ > 2 ? quiet_ - 2 : 0);
  const auto head = [&](const std::vector<double>& x) { return std::span(x).first(out_.on); };
  if (!out_.voltage_measured)
    return looks_clipped(out_.on_current(), quiet) ? Status::clipped : Status::ok;
  const auto volts = out_.on_voltage();
  const double late =
      upper_median_of({volts.end() - static_cast<std::ptrdiff_t>(volts.size() / 5), volts.end()});
  // Where the voltage gives way at the corner, the supply's limit made it.
  if (late > 0.9 * out_.step_V && looks_clipped(out_.on_current(), quiet)) return Status::clipped;
  if (exceeds(volts, options_.clip_V)) return Status::clipped;
  const bool noisy = out_.on >= 20 &&
                     noise_of(head(out_.voltage_V)) > quantum_of(head(out_.voltage_V)) &&
                     quantum_of(head(out_.voltage_V)) > 0;
  const auto still = [](std::span<const double> x) {
    return *std::max_element(x.begin(), x.end()) == *std::min_element(x.begin(), x.end());
  };
  if (noisy && volts.size() > 20 && still(volts.subspan(5, volts.size() - 10)))
    return Status::clipped;
  const auto decay = std::span(out_.voltage_V).subspan(out_.off);
  if (decay.empty()) return Status::ok;
  const double lowest = *std::min_element(decay.begin(), decay.end());
  const auto at_lowest = std::count(decay.begin(), decay.end(), lowest);
  out_.decay_clipped = exceeds(decay, options_.clip_V) || (noisy && at_lowest >= 10);
  return Status::ok;
}

// The zero line is what a channel shows before the step, else long after the
// pulse when it stands still there.
double Preparation::zero_of(const std::vector<double>& x, double offset_u, double& u, double noise,
                            double& colour) const {
  std::span<const double> quiet = std::span(x).first(quiet_ > 2 ? quiet_ - 2 : 0);
  if (quiet.size() < kZeroSamples) {
    const std::size_t tail = (x.size() - out_.off) / 8;
    quiet = std::span(x).last(tail);
    const auto before = std::span(x).subspan(x.size() - 2 * tail, tail);
    const double u_mean = tail > 0 ? deviation(quiet) / std::sqrt(static_cast<double>(tail)) : 0;
    if (tail < kZeroSamples || std::abs(mean_of(quiet) - mean_of(before)) > 4 * u_mean + 1e-12)
      quiet = {};
  }
  u = offset_u;
  if (quiet.empty()) return 0;
  const double longer = std::sqrt(correlation_time(quiet));
  u = longer * deviation(quiet) / std::sqrt(static_cast<double>(quiet.size()));
  // Second differences do not see slow noise.
  const double largest = std::abs(*std::max_element(
      x.begin(), x.end(), [](double a, double b) { return std::abs(a) < std::abs(b); }));
  if (longer > 1 && noise > 0 && deviation(quiet) > kSilent * largest)
    colour = std::clamp(longer * deviation(quiet) / noise, 1.0, kMostColour);
  return mean_of(quiet);
}

// A level between two steps of the digitiser is only told by its noise: what is
// left of the error has the amplitude q / pi exp(-2 pi^2 (sigma / q)^2) (Widrow's
// dither theory), without noise the rounding's q / sqrt(12).
double Preparation::step_u(const std::vector<double>& x) const {
  const auto late =
      std::span(x).subspan(out_.on + 2 * (out_.off - out_.on) / 3, (out_.off - out_.on) / 3 - 1);
  const double q = quantum_of(late), s = deviation(late);
  if (!(q > 0)) return 0;
  const double dither2 = std::max(0.0, s * s / (q * q) - 1.0 / 12);
  return std::min(q / std::sqrt(12.0), q / M_PI * std::exp(-2 * M_PI * M_PI * dither2) / M_SQRT2);
}

Status Preparation::remove_zero_lines() {
  const double i0 = zero_of(out_.current_A, options_.current_offset_u, out_.current_offset_u,
                            out_.current_noise_A, out_.current_colour);
  out_.current_offset_u = std::hypot(out_.current_offset_u, step_u(out_.current_A));
  for (double& s : out_.current_A) s -= i0;
  if (out_.voltage_measured) {
    const double v0 = zero_of(out_.voltage_V, options_.voltage_offset_u, out_.voltage_offset_u,
                              out_.voltage_noise_V, out_.voltage_colour);
    out_.voltage_offset_u = std::hypot(out_.voltage_offset_u, step_u(out_.voltage_V));
    for (double& s : out_.voltage_V) s -= v0;
    return Status::ok;
  }
  out_.voltage_V.assign(out_.size(), 0.0);
  std::fill(out_.voltage_V.begin() + static_cast<std::ptrdiff_t>(out_.on),
            out_.voltage_V.begin() + static_cast<std::ptrdiff_t>(out_.off), options_.supply_V);
  return Status::ok;
}

}  // namespace

std::size_t Prepared::samples_in(double seconds, std::size_t least) const {
  const double n = std::round(seconds / interval_s);
  return std::max(least, static_cast<std::size_t>(std::clamp(n, 0.0, 1e9)));
}

Prepared prepare(const Capture& capture, const AnalysisOptions& options) {
  return Preparation(capture, options).run();
}

}  // namespace pinproof::waveform
