#include "waveform/exponentials.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>
#include <vector>

#include "waveform/block_moments.h"
#include "waveform/projected.h"

namespace pinproof::waveform {
namespace {

constexpr std::size_t kFewForBlocks = 256;  // fewer samples are fitted by QR
constexpr double kSlowest = 0.02;           // rate times length: slower is a straight line
constexpr double kFastest = 2;              // an interval
constexpr double kRung = 1.6;               // of the ladder of starting rates
constexpr double kTruncation = 0.02;        // of the noise: beyond, the samples themselves are read
constexpr double kStill = 1e-12;            // change of a rate's logarithm that counts as none
constexpr double kLongest = 1.5;            // longest step of it
constexpr int kMostSteps = 100;

using Logs = RateVector;

struct RateSearch {
  Logs log_rate{};
  Projected at;
  int iterations = 0;
  bool converged = false;
};

double lower_bound(double samples) { return std::log(kSlowest / samples); }

Logs bounded(Logs x, std::size_t terms, double samples) {
  for (std::size_t j = 0; j < terms; ++j)
    x[j] = std::clamp(x[j], lower_bound(samples), std::log(kFastest));
  return x;
}

// Levenberg (1944) and Marquardt (1963) on the projected problem, in the
// logarithms of the rates: they cannot turn negative, and scale alike.
template <class Problem>
RateSearch descend(const Problem& problem, std::size_t terms, const Logs& start) {
  RateSearch out;
  out.log_rate = bounded(start, terms, problem.samples());
  out.at = problem.at(out.log_rate);
  double damping = 1e-6;
  while (out.iterations < kMostSteps && out.at.valid) {
    ++out.iterations;
    const auto step = marquardt_step(out.at, terms, damping, kLongest);
    if (!step) break;
    Logs next = out.log_rate;
    double longest = 0;
    for (std::size_t j = 0; j < terms; ++j) next[j] += (*step)[j];
    next = bounded(next, terms, problem.samples());
    for (std::size_t j = 0; j < terms; ++j)
      longest = std::max(longest, std::abs(next[j] - out.log_rate[j]));
    double gain = 0;  // what the step should take off the sum of squares
    for (std::size_t j = 0; j < terms; ++j) gain += out.at.gradient[j] * (*step)[j];
    const double variance = std::abs(out.at.rss) / problem.samples();
    const Projected there = problem.at(next);
    // Near the minimum the sum of squares is flat within rounding.
    if (there.valid && there.rss <= out.at.rss * (1 + 1e-12) + problem.rounding()) {
      out.log_rate = next, out.at = there;
      damping = std::max(damping / 10, 1e-12);
    } else {
      damping = std::max(10 * damping, 1e-3);
    }
    if (longest < kStill || gain < problem.still() * problem.still() * variance) {
      out.converged = true;
      break;
    }
    if (damping > 1e12) break;
  }
  return out;
}

template <class Problem>
Logs best_rungs(const Problem& problem) {
  std::vector<double> rungs;
  double k = 1 / problem.samples();
  while (k < 1) {
    rungs.push_back(std::log(k));
    k *= kRung;
  }
  return problem.best_of(rungs);
}

// Three equal stretches of one exponential and a constant: their differences
// shrink by exp(-k n).
std::optional<double> log_rate_of_thirds(const BlockMoments& blocks) {
  const auto m = blocks.thirds();
  const double ratio = (m[2] - m[1]) / (m[1] - m[0]);
  if (!(ratio > 1e-4 && ratio < 0.97)) return std::nullopt;
  return std::log(-std::log(ratio) / static_cast<double>(blocks.third_samples()));
}

void fill(const RateSearch& search, const ProjectedShape& shape, double interval_s, double samples,
          ExponentialFit& out) {
  const Projected& at = search.at;
  const std::size_t first = shape.constant ? 1 : 0;
  out.rss = std::max(at.rss, 0.0);
  out.sigma = std::sqrt(out.rss / (samples - static_cast<double>(2 * shape.terms + first)));
  const Deviations sd = deviations(at, shape);
  std::array<std::size_t, kMostExponentials> order{0, 1, 2};
  for (std::size_t i = 0; i < shape.terms; ++i)
    for (std::size_t j = i + 1; j < shape.terms; ++j)
      if (search.log_rate[order[j]] < search.log_rate[order[i]]) std::swap(order[i], order[j]);
  for (std::size_t j = 0; j < shape.terms; ++j) {
    const std::size_t from = order[j];
    out.rate[j] = std::exp(search.log_rate[from]) / interval_s;
    out.rate_sd[j] = out.rate[j] * out.sigma * sd.log_rate[from];
    out.amplitude[j] = at.c[first + from];
    out.amplitude_sd[j] = out.sigma * sd.c[first + from];
  }
  if (shape.constant) out.constant = at.c[0], out.constant_sd = out.sigma * sd.c[0];
  out.iterations = search.iterations;
}

// Whether the rates stand inside the search's bounds and apart from one another,
// and are known at all.
bool stands(const ExponentialFit& fit, const RateSearch& search, double samples) {
  for (std::size_t j = 0; j < fit.terms; ++j) {
    const double k = search.log_rate[j];
    if (k < lower_bound(samples) + 1e-6 || k > std::log(kFastest) - 1e-6) return false;
    if (!(fit.rate_sd[j] < 2 * fit.rate[j])) return false;
    if (j > 0 && fit.rate[j] < fit.rate[j - 1] * (1 + 1e-4)) return false;
  }
  return search.converged;
}

template <class Problem>
RateSearch polished(const Problem& problem, std::size_t terms, const RateSearch& from) {
  RateSearch out = descend(problem, terms, from.log_rate);
  out.iterations += from.iterations;
  return out;
}

// Whether the blocks' series is cut off far below what noise leaves unknown.
bool sharp(const BlockMoments& blocks, const ProjectedShape& shape, const RateSearch& found) {
  const std::size_t first = shape.constant ? 1 : 0;
  if (!found.at.valid || !(found.at.rss > 1e-9 * blocks.square())) return false;
  const double sigma = std::sqrt(found.at.rss / blocks.samples());
  for (std::size_t j = 0; j < shape.terms; ++j) {
    // Of sum z^t y_t: the exponential's own part c / 2k, the noise's sigma / sqrt(2k).
    const double k = std::exp(found.log_rate[j]);
    const double own = std::abs(found.at.c[first + j]) / (2 * k);
    if (!(blocks.truncation(k) * own < kTruncation * sigma / std::sqrt(2 * k))) return false;
  }
  return true;
}

RateSearch search_blocks(std::span<const double> y, const ProjectedShape& shape) {
  const BlockMoments blocks(y);
  const BlockProblem problem(blocks, shape);
  std::optional<double> guess;
  if (shape.terms == 1 && shape.constant) guess = log_rate_of_thirds(blocks);
  const Logs start = guess ? Logs{*guess} : best_rungs(problem);
  const RateSearch found = descend(problem, shape.terms, start);
  return sharp(blocks, shape, found) ? found
                                     : polished(SampleProblem(y, shape), shape.terms, found);
}

RateSearch search_samples(std::span<const double> y, const ProjectedShape& shape) {
  const SampleProblem problem(y, shape);
  return descend(problem, shape.terms, best_rungs(problem));
}

}  // namespace

double ExponentialFit::at(double s) const {
  double out = constant;
  for (std::size_t j = 0; j < terms; ++j) out += amplitude[j] * std::exp(-rate[j] * s);
  return out;
}

ExponentialFit fit_exponentials(std::span<const double> y, double interval_s, std::size_t terms,
                                bool with_constant) {
  ExponentialFit out;
  out.terms = std::clamp<std::size_t>(terms, 1, kMostExponentials);
  if (y.size() < 2 * out.terms + 3) return out;
  const ProjectedShape shape{out.terms, with_constant};
  const RateSearch search =
      y.size() < kFewForBlocks ? search_samples(y, shape) : search_blocks(y, shape);
  out.status = FitStatus::no_minimum;
  if (!search.at.valid) return out;
  const auto n = static_cast<double>(y.size());
  fill(search, shape, interval_s, n, out);
  if (stands(out, search, n)) out.status = FitStatus::ok;
  return out;
}

std::size_t exponentials_in_evidence(std::span<const double> y, double interval_s,
                                     std::size_t most) {
  constexpr double kLeastGain = 10;
  const auto n = static_cast<double>(y.size());
  double mean = 0, square = 0;
  for (const double x : y) mean += x / n;
  for (const double x : y) square += (x - mean) * (x - mean);
  double before = n * std::log(square / n);
  std::size_t found = 0;
  for (std::size_t terms = 1; terms <= std::min(most, kMostExponentials); ++terms) {
    const auto fit = fit_exponentials(y, interval_s, terms);
    if (fit.status != FitStatus::ok) break;
    const double now = n * std::log(fit.rss / n);
    if (!(before - now > std::max(kLeastGain, 2 * std::log(n)))) break;
    found = terms, before = now;
  }
  return found;
}

}  // namespace pinproof::waveform
