#include "metrology/lot_series.h"

#include <algorithm>
#include <boost/math/distributions/binomial.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>

namespace pinproof::metrology {
namespace {

bool above(const Extreme& a, const Extreme& b) { return a.value > b.value; }
bool below(const Extreme& a, const Extreme& b) { return a.value < b.value; }

double two_sided_p(double t, double df) {
  if (!(df >= 1) || std::isnan(t)) return 1;
  if (std::isinf(t)) return 0;
  return 2 * boost::math::cdf(boost::math::complement(boost::math::students_t(df), std::abs(t)));
}

// Rosner 1983: lambda of step i (from 1) of n values.
double esd_lambda(std::size_t n, std::size_t i, double alpha) {
  const double left = double(n - i);  // n - i
  const double p = 1 - alpha / (2 * (left + 1));
  const double t = boost::math::quantile(boost::math::students_t(left - 1), p);
  return left * t / std::sqrt((left - 1 + t * t) * (left + 1));
}

}  // namespace

void LotSeries::add(std::int64_t part, double value) {
  if (!std::isfinite(value)) {
    ++missing_;
    return;
  }
  const double delta = value - mean_;
  // Products with the order 0, 1, 2, ...: n / (n + 1) (n - mean order so far) delta.
  cross_ += 0.5 * double(n_) * delta;
  ++n_;
  mean_ += delta / double(n_);
  squares_ += delta * (value - mean_);
  keep_extreme(part, value);
  chart(value);
}

void LotSeries::keep_extreme(std::int64_t part, double value) {
  const auto keep = [&](std::vector<Extreme>& heap, auto outer) {
    if (heap.size() < kExtremes) {
      heap.push_back({value, part});
      std::push_heap(heap.begin(), heap.end(), outer);
    } else if (outer(Extreme{value, part}, heap.front())) {
      std::pop_heap(heap.begin(), heap.end(), outer);
      heap.back() = {value, part};
      std::push_heap(heap.begin(), heap.end(), outer);
    }
  };
  keep(low_, below);
  keep(high_, above);
}

void LotSeries::chart(double value) {
  if (blocks_.empty() || blocks_.back().n == block_size_) {
    if (blocks_.size() == kBlocks) {
      for (std::size_t k = 0; k < kBlocks / 2; ++k) {
        const Block &a = blocks_[2 * k], &b = blocks_[2 * k + 1];
        blocks_[k] = {a.n + b.n, a.sum + b.sum, std::min(a.low, b.low), std::max(a.high, b.high)};
      }
      blocks_.resize(kBlocks / 2);
      block_size_ *= 2;
    }
    blocks_.push_back({1, value, value, value});
    return;
  }
  Block& last = blocks_.back();
  ++last.n, last.sum += value;
  last.low = std::min(last.low, value), last.high = std::max(last.high, value);
}

Moments LotSeries::moments() const {
  return {mean_, n_ < 2 ? 0 : std::sqrt(std::max(0.0, squares_) / double(n_ - 1))};
}

std::vector<Extreme> LotSeries::lowest() const {
  auto out = low_;
  std::sort(out.begin(), out.end(), below);
  return out;
}

std::vector<Extreme> LotSeries::highest() const {
  auto out = high_;
  std::sort(out.begin(), out.end(), above);
  return out;
}

Drift LotSeries::drift() const {
  Drift out;
  if (n_ < 3 || !(squares_ > 0)) return out;
  const double n = double(n_), order = n * (n * n - 1) / 12;  // sum of squares of 0 ... n - 1
  out.per_part = cross_ / order;
  out.over_lot = out.per_part * (n - 1);
  const double rest = std::max(0.0, squares_ - cross_ * cross_ / order) / (n - 2);
  out.p = two_sided_p(out.per_part / std::sqrt(rest / order), n - 2);
  return out;
}

EsdOfSeries generalised_esd(const LotSeries& series, std::size_t most, double alpha) {
  EsdOfSeries out;
  const auto low = series.lowest(), high = series.highest();
  most = std::min(most, LotSeries::kExtremes - 1);
  const std::size_t all = series.n();
  const Moments start = series.moments();
  double mean = start.mean, squares = start.sd * start.sd * (double(all) - 1);
  for (std::size_t i = 1, l = 0, h = 0; i <= most && all > i + 2; ++i) {
    const double n = double(all - i + 1), sd = std::sqrt(std::max(0.0, squares) / (n - 1));
    if (!(sd > 1e-12 * std::abs(mean))) break;  // rounding only
    const bool take_low = mean - low[l].value > high[h].value - mean;
    const Extreme x = take_low ? low[l++] : high[h++];
    out.taken.push_back(x);
    out.R.push_back(std::abs(x.value - mean) / sd);
    out.lambda.push_back(esd_lambda(all, i, alpha));
    if (out.R.back() > out.lambda.back()) out.outliers = i;
    const double left = mean + (mean - x.value) / (n - 1);
    squares -= (x.value - mean) * (x.value - left);
    mean = left;
  }
  return out;
}

Interval share_interval(std::size_t k, std::size_t n, double confidence) {
  using Binomial = boost::math::binomial;
  const double half = (1 - confidence) / 2;
  return {Binomial::find_lower_bound_on_p(double(n), double(k), half),
          Binomial::find_upper_bound_on_p(double(n), double(k), half)};
}

MeanShift mean_shift(const Moments& a, std::size_t n_a, const Moments& b, std::size_t n_b,
                     double confidence) {
  const double va = a.sd * a.sd / double(n_a), vb = b.sd * b.sd / double(n_b);
  MeanShift out;
  out.shift = b.mean - a.mean;
  const double u = std::sqrt(va + vb);
  if (!(u > 0)) {
    out.interval = {out.shift, out.shift};
    out.p = out.shift == 0 ? 1 : 0;
    return out;
  }
  const double df = (va + vb) * (va + vb) / (va * va / double(n_a - 1) + vb * vb / double(n_b - 1));
  const double t = boost::math::quantile(boost::math::students_t(df), (1 + confidence) / 2);
  out.interval = {out.shift - t * u, out.shift + t * u};
  out.p = two_sided_p(out.shift / u, df);
  return out;
}

}  // namespace pinproof::metrology
