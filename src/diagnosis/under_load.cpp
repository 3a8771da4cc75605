#include "diagnosis/under_load.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>

namespace pinproof::diagnosis {
namespace {

// How far `after` lies above `before`: positive only where that is beyond doubt.
double risen(const Estimate& before, const Estimate& after) {
  constexpr double kSure = 3, kShare = 0.05, kLeast_ohm = 5e-3;
  const double doubt = std::max(
      {kSure * std::hypot(before.u, after.u), kShare * std::abs(before.value), kLeast_ohm});
  const double change = after.value - before.value;
  return std::abs(change) > doubt ? change : 0;
}

}  // namespace

std::string_view name_of(Conduct conduct) {
  switch (conduct) {
    case Conduct::film:
      return "film";
    case Conduct::heating:
      return "heating";
    case Conduct::rising:
      return "rising";
    case Conduct::steady:
      break;
  }
  return "steady";
}

LoadResult judge_load(std::vector<Drop> drops) {
  if (drops.size() < 2) throw std::invalid_argument("a load test needs two drops at least");
  const auto most = std::max_element(drops.begin(), drops.end(), [](const Drop& x, const Drop& y) {
                      return x.ampere < y.ampere;
                    })->ampere;
  const auto least = std::min_element(
      drops.begin(), drops.end(), [](const Drop& x, const Drop& y) { return x.ampere < y.ampere; });
  LoadResult out;
  out.small_ohm = least->ohm;
  std::erase_if(drops, [&](const Drop& one) { return one.ampere < 0.8 * most; });
  std::sort(drops.begin(), drops.end(),
            [](const Drop& x, const Drop& y) { return x.at_s < y.at_s; });
  out.early_ohm = drops.front().ohm, out.late_ohm = drops.back().ohm;
  if (risen(out.early_ohm, out.late_ohm) > 0)
    out.conduct = Conduct::heating;
  else if (risen(out.small_ohm, out.late_ohm) < 0)
    out.conduct = Conduct::film;
  else if (risen(out.small_ohm, out.late_ohm) > 0)
    out.conduct = Conduct::rising;
  return out;
}

}  // namespace pinproof::diagnosis
