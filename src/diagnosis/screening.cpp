#include "diagnosis/screening.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <numeric>
#include <set>

namespace pinproof::diagnosis {
namespace {

// Rough uncertainty of a reading with all that parts may differ by.
constexpr double kRelative = 0.05;
constexpr double kAbsolute_ohm = 0.2;
constexpr double kOpenSpread = 0.1;  // of the least open resistance
constexpr std::size_t kWorst = 3;
constexpr double kAbnormal = 4;

network::Sighting sighting_of(const Scene& scene, const Observation& z, std::size_t network) {
  network::Sighting out{z.probe.sight, network, std::min(z.ohm, scene.open_ohm()), 0};
  // Of a reading of megohms good insulation is a part.
  const double insulation = out.ohm / (out.ohm + scene.open_ohm()) * kInsulationSpread;
  const double u = out.ohm == scene.open_ohm()
                       ? kOpenSpread * out.ohm
                       : std::hypot(std::hypot(kRelative, insulation) * z.ohm, kAbsolute_ohm,
                                    std::isfinite(z.u) ? z.u : 0);
  out.weight = 1 / (u * u);
  return out;
}

std::vector<std::size_t> situations_in(const std::vector<Observation>& readings) {
  std::set<std::size_t> out;
  for (const Observation& one : readings) out.insert(one.probe.situation);
  return {out.begin(), out.end()};
}

std::vector<network::Sighting> sightings_in(const Scene& scene,
                                            const std::vector<Observation>& readings,
                                            const std::vector<std::size_t>& used) {
  std::vector<network::Sighting> out;
  for (const Observation& z : readings) {
    if (z.probe.kind == ProbeKind::fraction) continue;  // not linear; weighed later
    const auto at = std::lower_bound(used.begin(), used.end(), z.probe.situation) - used.begin();
    out.push_back(sighting_of(scene, z, static_cast<std::size_t>(at)));
  }
  return out;
}

// Two edits of one element: the second would not be a change of a good one.
bool clash(const Suspect& x, const Suspect& y) {
  if (&x == &y) return true;
  for (const network::Edit& one : x.edits)
    for (const network::Edit& other : y.edits)
      if (one.kind != network::EditKind::bridge && other.kind != network::EditKind::bridge &&
          one.element == other.element)
        return true;
  return false;
}

}  // namespace

// Keeps the best candidate of each set of suspects.
class Screening::Best {
 public:
  Best(std::size_t most, double margin) : most_(most), margin_(margin) {}

  bool wants(double misfit, double log_prior) const {
    return misfit / 2 - log_prior <= lowest_ + margin_;
  }
  void offer(Candidate candidate) {
    if (!wants(candidate.misfit, candidate.log_prior)) return;
    lowest_ = std::min(lowest_, candidate.score());
    std::vector<const Suspect*> key;
    for (const Guess& guess : candidate.guesses) key.push_back(guess.suspect);
    std::sort(key.begin(), key.end());
    const auto [it, fresh] = of_.try_emplace(std::move(key), candidate);
    if (!fresh && candidate.misfit < it->second.misfit) it->second = std::move(candidate);
    if (of_.size() > 20 * most_) prune();
  }
  std::vector<Candidate> take() {
    std::vector<Candidate> out;
    for (auto& [key, candidate] : of_)
      if (candidate.score() <= lowest_ + margin_) out.push_back(std::move(candidate));
    std::stable_sort(out.begin(), out.end(),
                     [](const Candidate& x, const Candidate& y) { return x.score() < y.score(); });
    if (out.size() > most_) out.resize(most_);
    return out;
  }

 private:
  void prune() {
    std::vector<double> scores;
    for (const auto& [key, candidate] : of_) scores.push_back(candidate.score());
    const auto keep = scores.begin() + static_cast<std::ptrdiff_t>(5 * most_);
    std::nth_element(scores.begin(), keep, scores.end());
    margin_ = std::min(margin_, *keep - lowest_);
    std::erase_if(of_, [&](const auto& one) { return one.second.score() > lowest_ + margin_; });
  }

  // Ordered by the suspects' places in their list: the same list gives the same order.
  std::map<std::vector<const Suspect*>, Candidate> of_;
  std::size_t most_;
  double margin_;
  double lowest_ = INFINITY;
};

Screening::Screening(const Scene& scene, const std::vector<Suspect>& suspects,
                     const std::vector<double>& log_prior, const std::vector<Observation>& readings)
    : scene_(scene),
      suspects_(suspects),
      log_prior_(log_prior),
      used_(situations_in(readings)),
      sightings_(sightings_in(scene, readings, used_)),
      sweep_(scene.model().nodes(), used_.size(), sightings_, scene.open_ohm()) {
  for (std::size_t s = 0; s < suspects.size(); ++s) {
    const Suspect& suspect = suspects[s];
    if (suspect.edits.size() == 1 && suspect.moved.empty())
      simple_.push_back(
          {s, suspect.sized() ? std::vector<double>() : siemens_of(suspect, suspect.size.low)});
    if (suspect.edits.empty() && !suspect.moved.empty()) orders_.push_back(s);
  }
}

std::vector<double> Screening::siemens_of(const Suspect& suspect, double size) const {
  std::vector<double> out;
  for (const std::size_t situation : used_)
    out.push_back(
        network::siemens_of(scene_.model(), suspect.edits.front(), size, scene_.good(situation)));
  return out;
}

// Where a simple suspect acts, now that pins may have changed places.
std::pair<std::size_t, std::size_t> Screening::ends_of(const Suspect& suspect) const {
  const network::Edit& edit = suspect.edits.front();
  const auto [a, b] = network::ends_of(scene_.model(), edit);
  const auto& place = standing_.front().place;
  const auto end = [&](std::size_t node) {
    const bool outside =
        edit.kind == network::EditKind::bridge && node < scene_.model().terminals();
    return outside ? node : place[node];
  };
  return {end(a), end(b)};
}

void Screening::stand_on(const std::vector<Guess>& guesses) {
  standing_.clear(), tables_.clear();
  for (const std::size_t situation : used_) standing_.push_back(scene_.altered(situation, guesses));
  for (const auto& one : standing_) tables_.push_back(&one.resistances);
  sweep_.stand_on(tables_);
  worst_ = sweep_.worst(kWorst, kAbnormal);
}

// Sizes of a simple suspect that would set one of the worst readings right.
std::vector<double> Screening::sizes_for(const Suspect& suspect) const {
  std::vector<double> out;
  const auto [a, b] = ends_of(suspect);
  for (const std::size_t reading : worst_) {
    const std::size_t situation = used_[sightings_[reading].network];
    const double size =
        network::size_for(scene_.model(), suspect.edits.front(), sweep_.siemens_for(reading, a, b),
                          scene_.good(situation));
    if (!(size >= suspect.size.low / 1.5 && size <= suspect.size.high * 1.5)) continue;
    const double held = std::clamp(size, suspect.size.low, suspect.size.high);
    if (std::none_of(out.begin(), out.end(),
                     [&](double other) { return std::abs(std::log(other / held)) < 0.05; }))
      out.push_back(held);
  }
  return out;
}

// A suspect alone, at every size worth a try. The sweep stands on the good pack.
std::vector<Candidate> Screening::starts_of(std::size_t at) {
  const Suspect& suspect = suspects_[at];
  std::vector<double> sizes = suspect.stated;
  if (suspect.sized() && suspect.edits.size() == 1) {
    if (auto matched = sizes_for(suspect); !matched.empty()) sizes = std::move(matched);
  } else if (suspect.sized()) {
    double size = suspect.size.low;
    while (size < suspect.size.high) sizes.push_back(std::exchange(size, size * 3));
  }
  std::vector<Candidate> out;
  for (const double size : sizes) out.push_back({{Guess{&suspect, size}}, 0, log_prior_[at]});
  return out;
}

std::vector<Candidate> Screening::singles() {
  constexpr double kHopeless = 500;
  std::vector<Candidate> starts, out;
  stand_on({});
  double lowest = sweep_.misfit();
  for (std::size_t s = 0; s < suspects_.size(); ++s)
    for (Candidate& start : starts_of(s)) starts.push_back(std::move(start));
  for (Candidate& start : starts) {
    // Orders take long to set up beside ties, and are told quickly without them.
    const Suspect& suspect = *start.guesses.front().suspect;
    if (suspect.edits.empty() && moved_misfit(from_of(suspect)) > lowest + kHopeless) continue;
    stand_on(start.guesses);
    start.misfit = sweep_.misfit();
    lowest = std::min(lowest, start.misfit);
    if (out.empty() || out.back().guesses.front().suspect != &suspect)
      out.push_back(std::move(start));
    else if (start.misfit < out.back().misfit)
      out.back() = std::move(start);
  }
  return out;
}

void Screening::add_second(const Candidate& first, Best& best) {
  stand_on(first.guesses);
  if (worst_.empty()) return;  // nothing is left to explain
  std::vector<std::vector<double>> kept;
  std::vector<network::Change> changes;
  std::vector<Guess> seconds;
  std::vector<double> priors;
  kept.reserve(simple_.size() * kWorst);
  for (const Simple& simple : simple_) {
    const Suspect& suspect = suspects_[simple.suspect];
    if (std::any_of(first.guesses.begin(), first.guesses.end(),
                    [&](const Guess& g) { return clash(*g.suspect, suspect); }))
      continue;
    const auto ends = ends_of(suspect);
    const auto add = [&](double size, const std::vector<double>& siemens) {
      changes.push_back({ends.first, ends.second, siemens.data()});
      seconds.push_back({&suspect, size});
      priors.push_back(log_prior_[simple.suspect]);
    };
    if (!suspect.sized()) add(suspect.size.low, simple.siemens);
    if (suspect.sized())
      for (const double size : sizes_for(suspect))
        add(size, kept.emplace_back(siemens_of(suspect, size)));
  }
  std::vector<double> misfits(changes.size());
  sweep_.misfits(changes, misfits);
  for (std::size_t k = 0; k < changes.size(); ++k) {
    if (!best.wants(misfits[k], first.log_prior + priors[k])) continue;
    Candidate both{first.guesses, misfits[k], first.log_prior + priors[k]};
    both.guesses.push_back(seconds[k]);
    best.offer(std::move(both));
  }
}

// A pin at place i shows what belongs behind from[i].
std::vector<std::size_t> Screening::from_of(const Suspect& suspect) const {
  std::vector<std::size_t> out(scene_.model().nodes());
  std::iota(out.begin(), out.end(), std::size_t{0});
  for (const auto& [here, belongs] : suspect.moved) out[here] = belongs;
  return out;
}

// Of the readings without ties.
double Screening::moved_misfit(const std::vector<std::size_t>& from) const {
  double sum = 0;
  for (const network::Sighting& z : sightings_) {
    if (!scene_.situations()[used_[z.network]].tied.empty()) continue;
    const auto& good = scene_.good(used_[z.network]).resistances;
    const double there =
        good.transfer(from[z.sight.a], from[z.sight.b], from[z.sight.c], from[z.sight.d]);
    const double off = std::min(there, scene_.open_ohm()) - z.ohm;
    sum += z.weight * off * off;
  }
  return sum;
}

void Screening::add_two_orders(Best& best) const {
  for (const std::size_t x : orders_) {
    const std::vector<std::size_t> one = from_of(suspects_[x]);
    // Both orders: exchanges that share a pin do not commute.
    for (const std::size_t y : orders_) {
      if (x == y) continue;
      std::vector<std::size_t> two = one;
      for (const auto& [here, belongs] : suspects_[y].moved) two[here] = one[belongs];
      const double misfit = moved_misfit(two), prior = log_prior_[x] + log_prior_[y];
      if (best.wants(misfit, prior))
        best.offer({{Guess{&suspects_[x], 1}, Guess{&suspects_[y], 1}}, misfit, prior});
    }
  }
}

std::vector<Candidate> Screening::doubles(std::size_t most, double margin) {
  Best best(most, margin);
  stand_on({});
  std::vector<Candidate> firsts;
  for (std::size_t s = 0; s < suspects_.size(); ++s)
    for (Candidate& start : starts_of(s)) firsts.push_back(std::move(start));
  for (const Candidate& first : firsts) add_second(first, best);
  add_two_orders(best);
  return best.take();
}

std::vector<Candidate> Screening::one_more(const std::vector<Candidate>& sets, std::size_t most,
                                           double margin) {
  Best best(most, margin);
  for (const Candidate& set : sets) add_second(set, best);
  return best.take();
}

}  // namespace pinproof::diagnosis
