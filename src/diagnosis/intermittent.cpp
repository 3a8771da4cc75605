#include "diagnosis/intermittent.h"

#include <algorithm>
#include <cmath>
#include <map>

#include "diagnosis/observe.h"

namespace pinproof::diagnosis {
namespace {

constexpr double kRestless = 0.1;  // of y
constexpr double kSpread = 0.1;    // of y: good parts differ by some percent
constexpr double kFits = 12;       // chi-squared for each reading, at most

struct Extremes {
  double least = 0, most = 0;  // as y
};

class Finder {
 public:
  Finder(const Scene& scene, const std::vector<Held>& held) : scene_(scene), held_(held) {
    for (const Held& one : held) {
      seen_.push_back({scene.y_of(one.probe, one.least_ohm), scene.y_of(one.probe, one.most_ohm)});
      good_.push_back(shown(one.probe, {}));
    }
  }

  std::vector<std::size_t> moved() const {
    std::vector<std::size_t> out;
    for (std::size_t t = 0; t < held_.size(); ++t)
      if (seen_[t].most - seen_[t].least > kRestless) out.push_back(t);
    return out;
  }

  Mover judged(const Suspect& suspect, const std::vector<std::size_t>& moved) {
    const std::size_t widest =
        *std::max_element(moved.begin(), moved.end(), [&](std::size_t x, std::size_t y) {
          return seen_[x].most - seen_[x].least < seen_[y].most - seen_[y].least;
        });
    Mover out{{&suspect, suspect.size.low}, 0, 0};
    if (suspect.sized()) out.fault.size = size_at(suspect, widest);
    packs_.clear();
    for (std::size_t t = 0; t < held_.size(); ++t) {
      const double faulty = shown(held_[t].probe, {out.fault});
      const double low = std::min(faulty, good_[t]), high = std::max(faulty, good_[t]);
      const double own = std::pow((low - seen_[t].least) / kSpread, 2) +
                         std::pow((high - seen_[t].most) / kSpread, 2);
      out.misfit += own;
      out.explained += high - low > kRestless && seen_[t].most - seen_[t].least > kRestless;
    }
    return out;
  }

 private:
  double shown(const Probe& probe, const std::vector<Guess>& faults) {
    if (faults.empty()) return scene_.expected(probe, scene_.good(probe.situation).resistances).y;
    auto it = packs_.find(probe.situation);
    if (it == packs_.end())
      it = packs_.emplace(probe.situation, scene_.altered(probe.situation, faults)).first;
    return scene_.expected(probe, it->second.resistances).y;
  }

  // The size at which the fault shows the extreme that a good pack does not.
  double size_at(const Suspect& suspect, std::size_t t) {
    const bool up = std::abs(seen_[t].most - good_[t]) > std::abs(seen_[t].least - good_[t]);
    const double wanted = up ? seen_[t].most : seen_[t].least;
    double low = std::log(suspect.size.low), high = std::log(suspect.size.high);
    const auto at = [&](double ln_size) {
      packs_.clear();
      return shown(held_[t].probe, {Guess{&suspect, std::exp(ln_size)}});
    };
    const bool rises = at(high) > at(low);
    for (int i = 0; i < 24; ++i) {
      const double middle = (low + high) / 2;
      ((at(middle) < wanted) == rises ? low : high) = middle;
    }
    return std::exp((low + high) / 2);
  }

  const Scene& scene_;
  const std::vector<Held>& held_;
  std::vector<Extremes> seen_;
  std::vector<double> good_;
  std::map<std::size_t, network::Altering> packs_;
};

}  // namespace

Movement one_mover(const Scene& scene, const std::vector<Suspect>& suspects,
                   const std::vector<Held>& held) {
  Finder finder(scene, held);
  Movement out;
  out.moved = finder.moved();
  if (out.moved.empty()) return out;
  for (const Suspect& suspect : suspects) {
    if (suspect.edits.size() != 1) continue;  // one edge
    const Mover mover = finder.judged(suspect, out.moved);
    if (mover.explained == out.moved.size() &&
        mover.misfit < kFits * static_cast<double>(held.size()))
      out.movers.push_back(mover);
  }
  std::stable_sort(out.movers.begin(), out.movers.end(), [](const Mover& x, const Mover& y) {
    return x.misfit - 2 * std::log(x.fault.suspect->rate) <
           y.misfit - 2 * std::log(y.fault.suspect->rate);
  });
  return out;
}

std::vector<Held> held_of(Scene& scene, const record::WrittenReadings& written,
                          const std::string& file) {
  std::vector<Held> out;
  for (const auto& one : written.readings)
    if (one.held)
      out.push_back({observe(scene, one, file).probe, one.held->low, one.held->high, one.at_s});
  return out;
}

}  // namespace pinproof::diagnosis
