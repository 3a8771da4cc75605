#include "lot/repeatability.h"

#include <algorithm>
#include <cmath>

#include "quantity/statistics.h"

namespace pinproof::lot {

Repeatabilities repeatabilities(const record::Ledger& ledger, const std::vector<std::string>& ids) {
  constexpr std::size_t kSample = 40;
  std::map<std::pair<std::string, std::string>, std::vector<double>> all;
  const std::size_t step = ids.size() / kSample + 1;
  for (std::size_t k = 0; k < ids.size(); k += step)
    for (const auto& event : ledger.load_readings(ids[k]).events)
      if (const auto* r = std::get_if<record::Reading>(&event);
          r && std::isfinite(r->measured.numbers().u_random))
        all[{r->key.check, r->key.subject}].push_back(r->measured.numbers().u_random);
  Repeatabilities out;
  for (const auto& [key, values] : all) out[key] = quantile_of(values, 0.5);
  return out;
}

double step_of(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  double out = 0;
  for (std::size_t k = 1; k < values.size(); ++k)
    if (const double gap = values[k] - values[k - 1];
        gap > 1e-9 * std::abs(values[k]) && (out == 0 || gap < out))
      out = gap;
  return out;
}

}  // namespace pinproof::lot
