#include "network/sweep.h"

#include <algorithm>
#include <cmath>
#include <numeric>

// The kernels are compiled twice; the processor says which it runs. (GCC's own
// target_clones cannot ask for two features at once, and upsets sanitizers.)
#if defined(__x86_64__) && defined(__GNUC__)
#define PINPROOF_HASWELL [[gnu::target("avx2,fma")]]
#else
#define PINPROOF_HASWELL
#endif
#define PINPROOF_INLINE [[gnu::always_inline]] inline

namespace pinproof::network {
namespace {

// Readings of a network are padded to this many lanes: four vectors, so that four
// sums run side by side and none waits for the one before.
constexpr std::size_t kLane = 16;
constexpr std::size_t kWide = 4;
constexpr std::size_t kTile = 256;

using WideDoubles [[gnu::vector_size(kWide * sizeof(double)), gnu::aligned(8), gnu::may_alias]] =
    double;

PINPROOF_INLINE const WideDoubles* vectors(const double* numbers) {
  return reinterpret_cast<const WideDoubles*>(numbers);
}

// n is a multiple of kLane.
PINPROOF_INLINE double sum_squares(const double* off, const double* da, const double* db,
                                   std::size_t n, double s) {
  const WideDoubles *o = vectors(off), *a = vectors(da), *b = vectors(db);
  WideDoubles sum0 = {}, sum1 = {}, sum2 = {}, sum3 = {};
  for (std::size_t t = 0; t < n / kWide; t += kLane / kWide) {
    const WideDoubles d0 = b[t] - a[t], d1 = b[t + 1] - a[t + 1];
    const WideDoubles d2 = b[t + 2] - a[t + 2], d3 = b[t + 3] - a[t + 3];
    const WideDoubles e0 = o[t] - s * d0 * d0, e1 = o[t + 1] - s * d1 * d1;
    const WideDoubles e2 = o[t + 2] - s * d2 * d2, e3 = o[t + 3] - s * d3 * d3;
    sum0 += e0 * e0, sum1 += e1 * e1, sum2 += e2 * e2, sum3 += e3 * e3;
  }
  const WideDoubles all = (sum0 + sum1) + (sum2 + sum3);
  return (all[0] + all[1]) + (all[2] + all[3]);
}

// The same for readings that drive and sense at different nodes, or that saturate: `most` is what
// the difference is held to.
PINPROOF_INLINE double sum_products(const double* off, const double* most, const double* da,
                                    const double* db, const double* sa, const double* sb,
                                    std::size_t n, double s) {
  const WideDoubles *o = vectors(off), *m = vectors(most), *a = vectors(da), *b = vectors(db),
                    *p = vectors(sa), *q = vectors(sb);
  WideDoubles sum0 = {}, sum1 = {};
  for (std::size_t t = 0; t < n / kWide; t += 2) {
    WideDoubles e0 = o[t] - s * (b[t] - a[t]) * (q[t] - p[t]);
    WideDoubles e1 = o[t + 1] - s * (b[t + 1] - a[t + 1]) * (q[t + 1] - p[t + 1]);
    e0 = e0 < m[t] ? e0 : m[t], e1 = e1 < m[t + 1] ? e1 : m[t + 1];
    sum0 += e0 * e0, sum1 += e1 * e1;
  }
  const WideDoubles all = sum0 + sum1;
  return (all[0] + all[1]) + (all[2] + all[3]);
}

namespace {

// What one tile adds to the misfit of one second fault; `most` is null where every reading is a
// plain resistance without a ceiling.
struct Tile {
  const double* off;
  const double* most;
  const double* drive;
  const double* sense;
  std::size_t stride, lanes;
};

PINPROOF_INLINE void add_tile(const Tile& t, std::span<const Change> seconds, const double* s,
                              double* out) {
  for (std::size_t k = 0; k < seconds.size(); ++k) {
    const std::size_t a = seconds[k].a * t.stride, b = seconds[k].b * t.stride;
    out[k] += t.most ? sum_products(t.off, t.most, t.drive + a, t.drive + b, t.sense + a,
                                    t.sense + b, t.lanes, s[k])
                     : sum_squares(t.off, t.drive + a, t.drive + b, t.lanes, s[k]);
  }
}

PINPROOF_HASWELL void add_tile_wide(const Tile& t, std::span<const Change> seconds, const double* s,
                                    double* out) {
  add_tile(t, seconds, s, out);
}

void add_tile_plain(const Tile& t, std::span<const Change> seconds, const double* s, double* out) {
  add_tile(t, seconds, s, out);
}

auto best_kernel() {
#if defined(__x86_64__) && defined(__GNUC__)
  if (__builtin_cpu_supports("avx2") && __builtin_cpu_supports("fma")) return &add_tile_wide;
#endif
  return &add_tile_plain;
}

}  // namespace

}  // namespace

FaultSweep::FaultSweep(std::size_t nodes, std::size_t networks, std::span<const Sighting> readings,
                       double ceiling_ohm)
    : nodes_(nodes), ceiling_(ceiling_ohm), order_(readings.size()) {
  std::iota(order_.begin(), order_.end(), std::size_t{0});
  std::stable_sort(order_.begin(), order_.end(), [&](std::size_t x, std::size_t y) {
    return readings[x].network < readings[y].network;
  });
  for (std::size_t k = 0; k < networks; ++k) {
    const std::size_t begin = lanes_;
    for (const std::size_t at : order_) {
      if (readings[at].network != k) continue;
      sorted_.push_back(readings[at]);
      lane_.push_back(lanes_++);
    }
    lanes_ = (lanes_ + kLane - 1) / kLane * kLane;
    if (lanes_ > begin) segments_.push_back({k, begin, lanes_});
  }
  at_.resize(order_.size());
  for (std::size_t t = 0; t < order_.size(); ++t) at_[order_[t]] = t;
  off_.assign(lanes_, 0), most_.assign(lanes_, 0);
  for (std::size_t t = 0; t < sorted_.size(); ++t)
    most_[lane_[t]] = std::sqrt(sorted_[t].weight) * (ceiling_ - sorted_[t].ohm);
  for (const Sighting& one : sorted_) {
    transfers_ = transfers_ || !(one.sight == between(one.sight.a, one.sight.b));
    // Weighted once here and not in the sums: (w^1/2 off - s (w^1/4 d)^2)^2.
    root_.push_back(std::sqrt(std::sqrt(one.weight)));
  }
  drive_.assign(nodes_ * lanes_, 0);
  if (transfers_) sense_.assign(nodes_ * lanes_, 0);
}

void FaultSweep::stand_on(std::span<const Resistances* const> networks) {
  networks_ = networks;
  for (std::size_t t = 0; t < sorted_.size(); ++t) {
    const auto& [sight, network, ohm, weight] = sorted_[t];
    const double read = networks[network]->transfer(sight.a, sight.b, sight.c, sight.d);
    off_[lane_[t]] = std::sqrt(weight) * (read - ohm);
  }
  // Tables are symmetric: one row of each holds what a node's lanes need.
  std::size_t t = 0;
  for (const auto& [network, begin, end] : segments_) {
    const std::size_t first = t;
    for (std::size_t x = 0; x < nodes_; ++x) {
      const double* row = networks[network]->row(x);
      double* drive = &drive_[x * lanes_ + begin];
      double* sense = transfers_ ? &sense_[x * lanes_ + begin] : nullptr;
      for (t = first; t < sorted_.size() && sorted_[t].network == network; ++t) {
        const Sight& sight = sorted_[t].sight;
        drive[t - first] = root_[t] * (row[sight.a] - row[sight.b]);
        if (sense) sense[t - first] = root_[t] * (row[sight.c] - row[sight.d]);
      }
    }
  }
}

double FaultSweep::misfit() const {
  double sum = 0;
  for (std::size_t t = 0; t < lanes_; ++t) sum += std::pow(std::min(off_[t], most_[t]), 2);
  return sum;
}

void FaultSweep::misfits(std::span<const Change> seconds, std::span<double> out) const {
  static const auto kernel = best_kernel();
  const bool plain = !transfers_ && std::isinf(ceiling_);
  std::fill(out.begin(), out.end(), 0.0);
  std::vector<double> s(seconds.size());
  for (const auto& [network, begin, end] : segments_) {
    for (std::size_t k = 0; k < seconds.size(); ++k) {
      const double g = seconds[k].siemens[network];
      const double grown = 1 + g * (*networks_[network])(seconds[k].a, seconds[k].b);
      s[k] = grown > 0 ? g / (4 * grown) : INFINITY;
    }
    // A tile of every node's lanes stays in the nearest cache for all second faults.
    for (std::size_t at = begin; at < end; at += kTile)
      kernel({&off_[at], plain ? nullptr : &most_[at], &drive_[at],
              transfers_ ? &sense_[at] : &drive_[at], lanes_, std::min(kTile, end - at)},
             seconds, s.data(), out.data());
  }
  for (double& sum : out)
    if (std::isnan(sum)) sum = INFINITY;
}

std::vector<std::size_t> FaultSweep::worst(std::size_t most, double standard_deviations) const {
  std::vector<std::size_t> out;
  const auto off = [&](std::size_t t) {
    const std::size_t lane = lane_[at_[t]];
    return std::abs(std::min(off_[lane], most_[lane]));
  };
  for (std::size_t t = 0; t < order_.size(); ++t)
    if (off(t) > standard_deviations) out.push_back(t);
  std::sort(out.begin(), out.end(), [&](auto x, auto y) { return off(x) > off(y); });
  if (out.size() > most) out.resize(most);
  return out;
}

double FaultSweep::siemens_for(std::size_t reading, std::size_t a, std::size_t b) const {
  const std::size_t t = at_[reading], lane = lane_[t];
  const double d1 = drive_[b * lanes_ + lane] - drive_[a * lanes_ + lane];
  const double d2 = transfers_ ? sense_[b * lanes_ + lane] - sense_[a * lanes_ + lane] : d1;
  // s d1 d2 = predicted - read, and g = 4 s / (1 - 4 s R_ab).
  const double s = off_[lane] / (d1 * d2);
  return 4 * s / (1 - 4 * s * (*networks_[sorted_[t].network])(a, b));
}

}  // namespace pinproof::network
