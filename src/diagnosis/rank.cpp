#include "diagnosis/rank.h"

#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>
#include <map>
#include <numbers>

#include "diagnosis/screening.h"

namespace pinproof::diagnosis {
namespace {

constexpr double kMargin = 60;        // of the quick score, in units of ln p
constexpr std::size_t kCareful = 80;  // sets that are weighed with care
constexpr std::size_t kSeeds = 25;    // pairs that triples grow from
constexpr double kPoor = 1e-3;        // tail below which one fault is not enough
constexpr double kVeryPoor = 1e-5;    // and two are not
constexpr double kFar = 4.2;          // one reading alone, among some tens
constexpr double kLeast = 1e-6;
// "None of these": each reading is off by something unknown with this probability, and then
// anywhere in the range of y.
constexpr double kStray = 0.25;
constexpr double kRange = 17;
constexpr std::size_t kBesideUnknown = 3;

double tail_of(double misfit, std::size_t readings) {
  if (readings == 0) return 1;
  const boost::math::chi_squared chi(static_cast<double>(readings));
  return boost::math::cdf(boost::math::complement(chi, std::max(misfit, 0.0)));
}

// ln p of each suspect as one fault: its share of the rates.
std::vector<double> shares_of(const std::vector<Suspect>& suspects, const Priors& priors) {
  std::vector<double> out;
  double sum = 0;
  for (std::size_t s = 0; s < suspects.size(); ++s) {
    out.push_back(suspects[s].rate * (priors.weights.empty() ? 1 : priors.weights[s]));
    sum += out.back();
  }
  for (double& one : out) one = std::log(one / sum);
  return out;
}

class Ranker {
 public:
  Ranker(const Scene& scene, const std::vector<Suspect>& suspects,
         const std::vector<Observation>& readings, const SharedErrors& shared, const Priors& priors)
      : suspects_(suspects),
        priors_(priors),
        shares_(shares_of(suspects, priors)),
        likelihood_(scene, readings, shared),
        screening_(scene, suspects, shares_, readings) {}

  Ranking all() {
    const double m = static_cast<double>(likelihood_.readings().size());
    add_good();
    if (likelihood_.readings().empty()) return before();
    auto singles = screening_.singles();
    weigh(singles, 1 - priors_.two - priors_.three - priors_.unknown, m);
    if (best_tail() < kPoor)
      weigh(doubles_ = screening_.doubles(kCareful, kMargin + m), 2 * priors_.two, m);
    if (best_tail() < kVeryPoor) {
      if (doubles_.size() > kSeeds) doubles_.resize(kSeeds);
      weigh(screening_.one_more(doubles_, kCareful / 2, kMargin), 6 * priors_.three, m);
    }
    return normalised();
  }

 private:
  struct WeighedFit {
    FaultFit fit;
    double log_weight;
  };

  void add(FaultFit fit, double log_prior) {
    const double weight = fit.log_likelihood + log_prior;
    weighed_.push_back({std::move(fit), weight});
  }

  void add_good() { add(likelihood_.at({}), std::log1p(-priors_.faulty)); }

  // Nothing is read yet: single faults by their rates.
  Ranking before() {
    for (std::size_t s = 0; s < suspects_.size(); ++s)
      add(FaultFit{{Guess{&suspects_[s], suspects_[s].stated.front()}}, 0, 0},
          shares_[s] + std::log(priors_.faulty * (1 - priors_.unknown)));
    return normalised();
  }

  // Sets whose quick score is hopeless beside the best are not worth the care.
  void weigh(std::vector<Candidate> sets, double share, double m) {
    double lowest = INFINITY;
    for (const Candidate& set : sets) lowest = std::min(lowest, set.score());
    for (Candidate& set : sets)
      if (set.score() <= lowest + kMargin + 2 * m)
        add(likelihood_.fit(std::move(set.guesses)),
            set.log_prior + std::log(priors_.faulty * share));
  }

  double best_tail() const {
    double most = 0;
    for (const WeighedFit& one : weighed_)
      most = std::max(most, tail_of(one.fit.misfit, likelihood_.readings().size()));
    return most;
  }

  // Readings as with these faults or stray, each by itself.
  double log_stray(const std::vector<Guess>& faults) const {
    double sum = 0;
    for (const double log_density : likelihood_.one_by_one(faults))
      sum += std::log((1 - kStray) * std::exp(log_density) + kStray / kRange);
    return sum;
  }

  // Something unknown by itself, or beside what explains the readings best so far.
  double log_none() const {
    const double unknown = std::log(priors_.faulty * priors_.unknown);
    double most = unknown + log_stray({});
    for (std::size_t k = 0; k < std::min<std::size_t>(weighed_.size(), kBesideUnknown); ++k) {
      double prior = unknown + std::log(priors_.two) + weighed_[k].fit.log_occam;
      for (const Guess& guess : weighed_[k].fit.guesses)
        prior += shares_[static_cast<std::size_t>(guess.suspect - suspects_.data())];
      if (!weighed_[k].fit.guesses.empty())
        most = std::max(most, prior + log_stray(weighed_[k].fit.guesses));
    }
    return most;
  }

  Ranking normalised() {
    std::stable_sort(weighed_.begin(), weighed_.end(),
                     [](const auto& x, const auto& y) { return x.log_weight > y.log_weight; });
    const double none = log_none();
    const double top = std::max(none, weighed_.front().log_weight);
    double sum = std::exp(none - top);
    for (const WeighedFit& one : weighed_) sum += std::exp(one.log_weight - top);
    Ranking out;
    out.readings = likelihood_.readings().size();
    out.none_of_these = std::exp(none - top) / sum;
    out.fit = tail_of(weighed_.front().fit.misfit, out.readings);
    out.suspect.assign(suspects_.size(), 0);
    for (const double share : shares_)
      out.suspect_before.push_back(priors_.faulty * std::exp(share));
    std::map<std::pair<std::vector<std::size_t>, std::vector<const Suspect*>>, std::size_t> known;
    for (WeighedFit& one : weighed_) {
      const double p = std::exp(one.log_weight - top) / sum;
      if (one.fit.guesses.empty()) out.good = p;
      for (const Guess& guess : one.fit.guesses)
        out.suspect[static_cast<std::size_t>(guess.suspect - suspects_.data())] += p;
      if (p < kLeast) continue;
      const auto [it, fresh] = known.try_emplace(
          wiring_of(likelihood_.scene().model().nodes(), one.fit.guesses), out.explanations.size());
      if (fresh)
        out.explanations.push_back({std::move(one.fit.guesses), p, one.fit.misfit});
      else
        out.explanations[it->second].probability += p;  // another name for the same wiring
    }
    std::stable_sort(out.explanations.begin(), out.explanations.end(),
                     [](const auto& x, const auto& y) { return x.probability > y.probability; });
    return out;
  }

  const std::vector<Suspect>& suspects_;
  const Priors& priors_;
  std::vector<double> shares_;
  Likelihood likelihood_;
  Screening screening_;
  std::vector<Candidate> doubles_;
  std::vector<WeighedFit> weighed_;
};

}  // namespace

Ranking rank(const Scene& scene, const std::vector<Suspect>& suspects,
             const std::vector<Observation>& readings, const SharedErrors& shared,
             const Priors& priors) {
  return Ranker(scene, suspects, readings, shared, priors).all();
}

std::pair<std::vector<std::size_t>, std::vector<const Suspect*>> wiring_of(
    std::size_t nodes, const std::vector<Guess>& faults) {
  std::pair<std::vector<std::size_t>, std::vector<const Suspect*>> out;
  auto& [from, others] = out;
  for (std::size_t i = 0; i < nodes; ++i) from.push_back(i);
  for (const Guess& guess : faults) {
    auto moved = from;
    for (const auto& [here, belongs] : guess.suspect->moved) moved[here] = from[belongs];
    from = std::move(moved);
    if (!guess.suspect->edits.empty()) others.push_back(guess.suspect);
  }
  std::sort(others.begin(), others.end());
  return out;
}

bool all_normal(const Scene& scene, const std::vector<Observation>& readings,
                const SharedErrors& shared) {
  const Likelihood likelihood(scene, readings, shared);
  return tail_of(likelihood.at({}).misfit, readings.size()) > kPoor && likelihood.farthest() < kFar;
}

}  // namespace pinproof::diagnosis
