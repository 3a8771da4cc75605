#include "diagnosis/search.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace pinproof::diagnosis {
namespace {

constexpr std::size_t kMostExplanations = 200;  // weighed for the next question: the rest is dust
constexpr double kStep = 0.1;             // of y: what tolerances of some percent can tell apart
constexpr double kTolerance = 0.04;       // relative, of a reading between good packs
constexpr double kFractionStep = 0.15;    // of a divider's fraction
constexpr std::size_t kBins = 240;        // asinh of an open over kStep, with room for both grids
constexpr double kGood = 0.5;             // beside the many faults that no reading would show,
constexpr double kSuspicious = 0.03;      // and none of them is likelier than so
constexpr int kUnknownTimes = 4;          // readings more where nothing known explains them
constexpr std::size_t kDoubtedTimes = 3;  // as many confirmations where it may be unknown
constexpr double kWorthABit = 0.1;        // of what codes point at, before the list is gone through

bool nothing_stands_out(const Ranking& ranking) {
  const auto suspicious = [](const Explanation& one) {
    return !one.faults.empty() && one.probability > kSuspicious;
  };
  return ranking.good > kGood && ranking.none_of_these < kSuspicious &&
         std::none_of(ranking.explanations.begin(), ranking.explanations.end(), suspicious);
}

// What lies between two pins may differ far more between good packs than those tolerances: a
// contact of "5 ohm at most". By how many times a step must be wider there.
double widened(const Scene& scene, const Probe& probe, double noise_ohm) {
  constexpr double kWide = 0.1;  // relative standard deviation; below, kTolerance covers it
  if (probe.kind == ProbeKind::fraction) return 1;
  const auto& good = scene.good(probe.situation);
  const auto& [a, b, c, d] = probe.sight;
  double variance = 0;
  for (std::size_t e = 0; e < good.ohm.size(); ++e) {
    const auto& element = scene.model().elements()[e];
    if (!std::isfinite(good.ohm[e]) || element.sd_ohm < kWide * good.ohm[e]) continue;
    const double share = good.resistances.transfer(a, b, element.a, element.b) *
                         good.resistances.transfer(c, d, element.a, element.b) /
                         (good.ohm[e] * good.ohm[e]);
    variance += share * share * element.sd_ohm * element.sd_ohm;
  }
  const double ohm = good.resistances(c, d);
  const double steps = std::sqrt(variance) / std::hypot(ohm, noise_ohm / kTolerance) / kStep;
  return std::max(1.0, 2 * steps);
}

// Outcomes a step apart are told apart: near nothing by the noise, above by tolerances.
std::size_t bin_of(const Scene& scene, const Probe& probe, double ohm, double noise_ohm,
                   double offset, double widen) {
  const double at =
      probe.kind == ProbeKind::fraction
          ? ohm / kFractionStep
          : std::asinh(std::min(ohm, scene.open_ohm()) * kTolerance / noise_ohm) / (kStep * widen);
  return static_cast<std::size_t>(std::clamp(at + offset + 2, 0.0, double(kBins - 1)));
}

double bits_of(const std::array<double, kBins>& mass) {
  double sum = 0, plogp = 0;
  for (const double p : mass) {
    if (p <= 0) continue;
    sum += p, plogp += p * std::log2(p);
  }
  return sum > 0 ? std::log2(sum) - plogp / sum : 0;
}

}  // namespace

std::optional<Choice> most_telling(const Scene& scene, const std::vector<Probe>& probes,
                                   const std::vector<Explanation>& explanations,
                                   const std::vector<bool>& asked, std::size_t situation_now,
                                   const Effort& effort, double noise_ohm) {
  const std::size_t n = std::min(explanations.size(), kMostExplanations);
  // Probes stand together by situation: one altered network serves a run of them.
  std::optional<Choice> best;
  std::vector<network::Altering> packs;
  std::size_t situation = scene.situations().size();
  for (std::size_t p = 0; p < probes.size(); ++p) {
    const Probe& probe = probes[p];
    if (asked[p] || !scene.situations()[probe.situation].tied.empty()) continue;
    if (probe.situation != situation) {
      situation = probe.situation;
      packs.clear();
      for (std::size_t e = 0; e < n; ++e)
        packs.push_back(scene.altered(situation, explanations[e].faults));
    }
    std::array<double, kBins> mass{}, shifted{};
    const double widen = widened(scene, probe, noise_ohm);
    for (std::size_t e = 0; e < n; ++e) {
      const double ohm = scene.expected(probe, packs[e].resistances).ohm;
      mass[bin_of(scene, probe, ohm, noise_ohm, 0, widen)] += explanations[e].probability;
      shifted[bin_of(scene, probe, ohm, noise_ohm, 0.5, widen)] += explanations[e].probability;
    }
    // Of two grids the poorer: a step of a grid alone tells nothing apart.
    const Choice choice{p, std::min(bits_of(mass), bits_of(shifted)),
                        cost_of(scene, situation_now, probe, effort)};
    if (!best || choice.bits / choice.cost > best->bits / best->cost) best = choice;
  }
  if (best && best->bits <= 0) return std::nullopt;
  return best;
}

Search::Search(const Scene& scene, const std::vector<Suspect>& suspects,
               const std::vector<Probe>& probes, std::vector<std::size_t> list,
               SearchOptions options)
    : scene_(scene),
      suspects_(suspects),
      probes_(probes),
      list_(std::move(list)),
      options_(std::move(options)),
      asked_(probes.size(), false) {
  choose();
}

void Search::add(const Observation& reading) { add_all({reading}); }

void Search::add_all(const std::vector<Observation>& readings) {
  for (const Observation& reading : readings) {
    readings_.push_back(reading);
    for (std::size_t p = 0; p < probes_.size(); ++p)
      if (probes_[p] == reading.probe) asked_[p] = true;
  }
  normal_ = all_normal(scene_, readings_, options_.shared);
  ranking_.reset();
  choose();
}

void Search::skip(std::size_t probe) {
  asked_[probe] = true;
  choose();
}

const Ranking& Search::ranking() {
  if (!ranking_) ranking_ = rank(scene_, suspects_, readings_, options_.shared, options_.priors);
  return *ranking_;
}

// Of the last reading; none of them before the first.
std::size_t Search::situation_now() const {
  return readings_.empty() ? scene_.situations().size() : readings_.back().probe.situation;
}

Choice Search::choice_of(std::size_t probe, double bits) const {
  return {probe, bits, cost_of(scene_, situation_now(), probes_[probe], options_.effort)};
}

std::optional<Choice> Search::from_list() const {
  for (const std::size_t p : list_)
    if (!asked_[p]) return choice_of(p, 0);
  return std::nullopt;
}

// The cheapest probe at which the named faults foretell something else than a good pack shows,
// in another situation or between other pins than what gave them their name.
std::optional<Choice> Search::confirming(const Explanation& named) const {
  constexpr double kClear = 0.7;  // of y: a factor of two in ohms
  std::optional<Choice> best;
  for (std::size_t s = 0; s < scene_.situations().size(); ++s) {
    if (!scene_.situations()[s].tied.empty()) continue;
    const network::Altering pack = scene_.altered(s, named.faults);
    for (std::size_t p = 0; p < probes_.size(); ++p) {
      if (asked_[p] || probes_[p].situation != s) continue;
      const double off = scene_.expected(probes_[p], pack.resistances).y -
                         scene_.expected(probes_[p], scene_.good(s).resistances).y;
      if (std::abs(off) < kClear) continue;
      Choice choice = choice_of(p, 0);
      for (const Observation& z : readings_) {
        if (z.probe.sight == probes_[p].sight) choice.cost += 0.6;
        if (z.probe.situation == s) choice.cost += 0.05;
      }
      if (!best || choice.cost < best->cost) best = choice;
    }
  }
  return best;
}

void Search::choose() {
  next_ = std::nullopt;
  if (readings_.size() < options_.most) next_ = chosen();
}

std::optional<Choice> Search::chosen() {
  if (normal_) {
    if (const auto coded = pointed_at_by_codes()) return coded;
    const auto listed = from_list();
    // At its end: readings may be odd together of which none is odd alone.
    if (listed || readings_.empty() || nothing_stands_out(ranking())) return listed;
  }
  const Ranking& ranking = this->ranking();
  if (ranking.explanations.empty() || ranking.none_of_these > options_.sure)
    return after_the_unknown();
  unknown_ = 0;
  const Explanation& best = ranking.explanations.front();
  if (best.faults.empty() && best.probability > 0.5)
    return from_list();  // a reading at the edge of what is normal
  const std::optional<Choice> rest = options_.thorough ? from_list() : std::nullopt;
  const bool named = best.probability > options_.sure;
  // Of the known faults one is left, but it may be something unknown.
  const bool doubted = !named && best.probability > options_.sure * (1 - ranking.none_of_these);
  const auto choice = named || doubted
                          ? trying(best, options_.confirmations * (doubted ? kDoubtedTimes : 1))
                          : telling(options_.least_bits);
  return choice ? choice : rest;
}

// Trouble codes say where to look first.
std::optional<Choice> Search::pointed_at_by_codes() {
  return options_.priors.weights.empty() ? std::nullopt : telling(kWorthABit);
}

// A few more of the list, in case one of them brings a name after all.
std::optional<Choice> Search::after_the_unknown() {
  return unknown_++ < kUnknownTimes ? from_list() : std::nullopt;
}

// The most telling probe that promises so many bits.
std::optional<Choice> Search::telling(double least_bits) {
  const auto choice = most_telling(scene_, probes_, ranking().explanations, asked_, situation_now(),
                                   options_.effort, options_.noise_ohm);
  return choice && choice->bits >= least_bits ? choice : std::nullopt;
}

// The next reading that a name is tried on; nullopt after so many.
std::optional<Choice> Search::trying(const Explanation& best, std::size_t times) {
  std::vector<const Suspect*> name;
  for (const Guess& guess : best.faults) name.push_back(guess.suspect);
  if (name != named_) named_ = name, confirmed_ = 0;
  return confirmed_++ < times ? confirming(best) : std::nullopt;
}

}  // namespace pinproof::diagnosis
