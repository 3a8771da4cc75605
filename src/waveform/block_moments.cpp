#include "waveform/block_moments.h"

#include <algorithm>
#include <cmath>

namespace pinproof::waveform {
namespace {

// About as many blocks: enough for rates of a few tens over the whole length.
// More samples leave less noise for the series' rest to hide in.
constexpr std::size_t kBlocks = 48, kManySamples = 5000, kBlocksOfMany = 96;
constexpr std::size_t kLane = 2;
constexpr std::size_t kStep = 2 * kLane;  // a block is a multiple of it
constexpr std::size_t kLeastBlock = 8;
constexpr std::size_t kMoments = 5;
constexpr double kGone = 40;  // exp(-40) of a sample is below rounding

// Two doubles, which compilers for x86-64 and Arm keep in one register.
using Lanes __attribute__((vector_size(kLane * sizeof(double)))) = double;

Lanes load(const double* from) {
  Lanes out;
  __builtin_memcpy(&out, from, sizeof out);
  return out;
}

Lanes reversed(const Lanes& x) { return __builtin_shufflevector(x, x, 1, 0); }

double total(const Lanes& x) { return x[0] + x[1]; }

}  // namespace

DecaySums decay_sums(std::span<const double> y, double k) {
  const double z = std::exp(-k);
  const double last = std::min(static_cast<double>(y.size()), std::ceil(kGone / k) + 1);
  double power = 1;
  DecaySums out;
  for (std::size_t t = 0; t < static_cast<std::size_t>(last); ++t) {
    const double term = power * y[t];
    out.e += term;
    out.d += static_cast<double>(t) * term;
    power *= z;
  }
  return out;
}

BlockMoments::BlockMoments(std::span<const double> y) : n_(static_cast<double>(y.size())) {
  const std::size_t wanted = y.size() < kManySamples ? kBlocks : kBlocksOfMany;
  size_ = std::max(kLeastBlock, y.size() / wanted / kStep * kStep);
  blocks_ = y.size() / size_;
  m_.resize(kMoments * blocks_);
  gather(y);
  rest_ = y.subspan(blocks_ * size_);
  for (const double x : rest_) square_ += x * x;
}

// Samples at equal distances u before and behind the centre come in pairs: their
// sum makes the even moments, their difference the odd ones.
void BlockMoments::gather(std::span<const double> y) {
  const std::size_t half = size_ / 2;
  std::vector<double> weights(4 * half);  // u to u^4
  for (std::size_t i = 0; i < half; ++i) {
    const double u = static_cast<double>(i) + 0.5;
    weights[i] = u, weights[half + i] = u * u;
    weights[2 * half + i] = u * u * u, weights[3 * half + i] = u * u * u * u;
  }
  const double *w1 = weights.data(), *w2 = w1 + half, *w3 = w2 + half, *w4 = w3 + half;
  Lanes squares{};
  for (std::size_t b = 0; b < blocks_; ++b) {
    const double* centre = y.data() + b * size_ + half;
    Lanes m0{}, m1{}, m2{}, m3{}, m4{};
    for (std::size_t i = 0; i < half; i += kLane) {
      const Lanes behind = load(centre + i), before = reversed(load(centre - i - kLane));
      const Lanes even = behind + before, odd = behind - before;
      squares += behind * behind;
      squares += before * before;
      m0 += even;
      m2 += load(w2 + i) * even;
      m1 += load(w1 + i) * odd;
      m3 += load(w3 + i) * odd;
      m4 += load(w4 + i) * even;
    }
    m_[b] = total(m0), m_[blocks_ + b] = total(m1);
    m_[2 * blocks_ + b] = total(m2), m_[3 * blocks_ + b] = total(m3);
    m_[4 * blocks_ + b] = total(m4);
  }
  square_ = total(squares);
}

double BlockMoments::truncation(double k) const {
  const double half = k * static_cast<double>(size_) / 2;
  const double square = half * half;
  return square * square * square / 840;
}

DecaySums BlockMoments::sums(double k) const {
  // In a block around t_b, z^t is z^t_b times the series of exp(-k u). Two chains
  // of two blocks each run side by side.
  const double second = k / 2, third = k / 3, fourth = k / 4, step = static_cast<double>(size_);
  const double ratio = std::exp(-k * step), ratio2 = ratio * ratio, ratio4 = ratio2 * ratio2;
  const double first = (step - 1) / 2, start = std::exp(-k * first);
  const double *m0 = m_.data(), *m1 = m0 + blocks_, *m2 = m1 + blocks_, *m3 = m2 + blocks_,
               *m4 = m3 + blocks_;
  Lanes power[2] = {{start, start * ratio}, {start * ratio2, start * ratio2 * ratio}};
  Lanes centre[2] = {{first, first + step}, {first + 2 * step, first + 3 * step}};
  Lanes e[2] = {}, d[2] = {};
  std::size_t b = 0;
  for (; b + 2 * kLane <= blocks_; b += 2 * kLane)
    for (std::size_t j = 0; j < 2; ++j) {
      const std::size_t at = b + j * kLane;
      const Lanes x1 = load(m1 + at), x2 = load(m2 + at), x3 = load(m3 + at), x4 = load(m4 + at);
      const Lanes value = load(m0 + at) - k * (x1 - second * (x2 - third * (x3 - fourth * x4)));
      const Lanes inner = x1 - k * (x2 - second * (x3 - third * x4));
      e[j] += power[j] * value;
      d[j] += power[j] * (centre[j] * value + inner);
      power[j] *= ratio4;
      centre[j] += 4 * step;
    }
  DecaySums out{total(e[0] + e[1]), total(d[0] + d[1])};
  for (; b < blocks_; ++b) {
    const double t = first + step * static_cast<double>(b), here = std::exp(-k * t);
    const double value = m0[b] - k * (m1[b] - second * (m2[b] - third * (m3[b] - fourth * m4[b])));
    out.e += here * value;
    out.d += here * (t * value + m1[b] - k * (m2[b] - second * (m3[b] - third * m4[b])));
  }
  add_rest(k, out);
  return out;
}

void BlockMoments::add_rest(double k, DecaySums& out) const {
  const double z = std::exp(-k);
  double t = static_cast<double>(size_ * blocks_), power = std::exp(-k * t);
  for (const double x : rest_) {
    out.e += power * x;
    out.d += t * power * x;
    t += 1, power *= z;
  }
}

double BlockMoments::sum() const {
  double out = 0;
  for (std::size_t b = 0; b < blocks_; ++b) out += m_[b];
  for (const double x : rest_) out += x;
  return out;
}

std::array<double, 3> BlockMoments::thirds() const {
  const std::size_t n = blocks_ / 3;
  std::array<double, 3> out{};
  for (std::size_t b = 0; b < 3 * n; ++b) out[b / n] += m_[b];
  return out;
}

}  // namespace pinproof::waveform
