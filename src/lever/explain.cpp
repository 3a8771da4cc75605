#include "lever/explain.h"

#include <algorithm>
#include <cmath>
#include <map>

namespace pinproof::lever {
namespace {

constexpr double kMostTriples = 2e6;  // a second's work; nobody names three of so many
constexpr double kLogHalf = -0.69314718055994531;

int bits_in(Mask mask) { return __builtin_popcount(mask); }

// A set of faults is tried on something seen: nullopt, or the logarithm of how specific it was.
template <class Try>
class Enumeration {
 public:
  Enumeration(const Ground& ground, const ExplainOptions& options, Try attempt)
      : ground_(ground), options_(options), attempt_(std::move(attempt)) {
    singles_ = single_faults(ground);
    const auto& kinds = options_.kinds;
    if (!kinds.empty())
      std::erase_if(singles_, [&](const LineFault& one) {
        return std::find(kinds.begin(), kinds.end(), one.kind->name) == kinds.end();
      });
    for (const LineFault& one : singles_) rates_.push_back(log_rate(ground, one));
  }

  std::vector<LineExplanation> smallest() {
    for (std::size_t n = 0; n <= options_.most_faults && found_.empty(); ++n) {
      const auto all = static_cast<double>(singles_.size());
      if (n == 3 && all * all * all / 6 > kMostTriples) break;
      chosen_.clear();
      add_faults(n, 0, 0);
    }
    return std::move(found_);
  }

 private:
  void add_faults(std::size_t left, std::size_t first, double log_prior) {
    if (left == 0) return consider(log_prior);
    for (std::size_t k = first; k < singles_.size(); ++k) {
      if (found_.size() >= options_.most_explanations) return;
      const bool fits = std::all_of(chosen_.begin(), chosen_.end(), [&](const LineFault& one) {
        return compatible(one, singles_[k]);
      });
      if (!fits) continue;
      chosen_.push_back(singles_[k]);
      add_faults(left - 1, k + 1, log_prior + rates_[k]);
      chosen_.pop_back();
    }
  }

  // In the order of the table of kinds, and where two exchanges share a line in both orders.
  void consider(double log_prior) {
    weigh(chosen_, log_prior);
    for (std::size_t i = 0; i < chosen_.size(); ++i)
      for (std::size_t j = i + 1; j < chosen_.size(); ++j)
        if (order_matters(chosen_[i], chosen_[j])) {
          auto turned = chosen_;
          std::swap(turned[i], turned[j]);
          weigh(turned, log_prior);
        }
  }

  void weigh(const std::vector<LineFault>& faults, double log_prior) {
    const Effect effect = effect_of(ground_, faults);
    const auto log_fit = attempt_(effect);
    if (!log_fit) return;
    const double log_weight = log_prior + *log_fit;
    const auto mark = std::pair(effect.source, effect.mark(ground_.code->columns.size()));
    const auto [it, fresh] = at_.try_emplace(mark, found_.size());
    if (!fresh) return add_name(found_[it->second], faults, log_weight);
    LineExplanation out;
    out.faults = faults;
    out.probability = log_weight;
    for (std::size_t p = 0; p < ground_.code->positions.size(); ++p)
      out.words.push_back(effect.at(p));
    found_.push_back(std::move(out));
  }

  static void add_name(LineExplanation& known, const std::vector<LineFault>& faults,
                       double log_weight) {
    const double more = std::max(known.probability, log_weight),
                 less = std::min(known.probability, log_weight);
    if (log_weight > known.probability) {
      known.alike.push_back(std::move(known.faults));
      known.faults = faults;
    } else {
      known.alike.push_back(faults);
    }
    known.probability = more + std::log1p(std::exp(less - more));
  }

  const Ground& ground_;
  ExplainOptions options_;
  Try attempt_;
  std::vector<LineFault> singles_;
  std::vector<double> rates_;
  std::vector<LineFault> chosen_;
  std::vector<LineExplanation> found_;
  std::map<std::pair<const ContactSource*, std::vector<Mask>>, std::size_t> at_;
};

// A bit that is foretold to be either says less than one that is foretold right.
std::optional<double> fit_of(const Observed& seen, const Effect& effect) {
  double out = 0;
  for (std::size_t p = 0; p < seen.words.size(); ++p) {
    const Word word = effect.at(p);
    const Mask weak = seen.weak.empty() ? 0 : seen.weak[p];
    if (!agree(word, seen.words[p]) || (weak & word.known) != 0) return std::nullopt;
    out += kLogHalf * bits_in((seen.words[p].known | weak) & ~word.known);
  }
  return out;
}

// What neighbours agree on stays while the lever is between them; and it is neither.
bool between(const Word& x, const Word& y, const Word& seen) {
  const Mask same = x.known & y.known & seen.known & ~(x.closed ^ y.closed);
  return ((x.closed ^ seen.closed) & same) == 0 && !agree(x, seen) && !agree(y, seen);
}

// Each position in turn shows the word of its segment or of the next; between two positions the
// lever may have been held as well.
enum class Fits { no, in_part, whole };

Fits walk_fits(const RangeCode& code, const std::vector<Word>& seen, const Effect& effect,
               bool back) {
  std::vector<Word> path;
  for (std::size_t p = 0; p < code.positions.size(); ++p) path.push_back(effect.at(p));
  if (back)
    for (std::size_t p = code.positions.size() - 1; p-- > 0;) path.push_back(effect.at(p));
  std::vector<bool> reached(seen.size(), false);
  if (seen.empty() || !agree(path.front(), seen.front())) return Fits::no;
  reached[0] = true;
  bool in_part = seen.size() == 1;
  for (std::size_t step = 1; step < path.size(); ++step) {
    std::vector<bool> next(seen.size(), false);
    for (std::size_t s = 0; s < seen.size(); ++s) {
      if (!reached[s]) continue;
      if (agree(path[step], seen[s])) next[s] = true;
      if (s + 1 < seen.size() && agree(path[step], seen[s + 1])) next[s + 1] = true;
      // Held for a while between the two: that word is not of the path.
      if (s + 2 < seen.size() && between(path[step - 1], path[step], seen[s + 1]) &&
          agree(path[step], seen[s + 2]))
        next[s + 2] = true;
    }
    reached = std::move(next);
    in_part = in_part || reached.back();
  }
  return reached.back() ? Fits::whole : in_part ? Fits::in_part : Fits::no;
}

// Empty unless a good pack shows this where positions are gone past without a stop: every word is
// right and in its turn. Then the positions that are missing on one way or on both.
std::vector<std::size_t> gone_past(const RangeCode& code, const std::vector<Word>& seen,
                                   bool back) {
  const std::size_t n = code.positions.size();
  std::vector<std::size_t> path;
  for (std::size_t p = 0; p < n; ++p) path.push_back(p);
  for (std::size_t p = n - 1; back && p-- > 0;) path.push_back(p);
  std::vector<bool> stood(path.size(), false);
  auto at = path.begin();
  for (const Word& word : seen) {
    const auto stop =
        std::find_if(at, path.end(), [&](std::size_t p) { return agree(code.words[p], word); });
    const auto held = std::adjacent_find(at, path.end(), [&](std::size_t x, std::size_t y) {
      return between(code.words[x], code.words[y], word);
    });
    at = stop == path.end() ? held : stop;
    if (at == path.end()) return {};
    if (stop != path.end()) stood[static_cast<std::size_t>(stop - path.begin())] = true;
  }
  std::vector<std::size_t> out;
  for (std::size_t p = 0; p < n; ++p)
    if (!stood[p] || (back && !stood[path.size() - 1 - p])) out.push_back(p);
  return out;
}

void normalise(std::vector<LineExplanation>& all) {
  double top = -INFINITY, sum = 0;
  for (const LineExplanation& one : all) top = std::max(top, one.probability);
  for (LineExplanation& one : all) sum += one.probability = std::exp(one.probability - top);
  for (LineExplanation& one : all) one.probability /= sum;
  std::stable_sort(all.begin(), all.end(),
                   [](const auto& x, const auto& y) { return x.probability > y.probability; });
}

// Expected information of a position: entropy of what is foretold there.
double bits_at(const std::vector<LineExplanation>& all, std::size_t position) {
  std::map<std::pair<Mask, Mask>, double> mass;
  for (const LineExplanation& one : all)
    mass[{one.words[position].closed, one.words[position].known}] += one.probability;
  double bits = 0;
  for (const auto& [word, p] : mass)
    if (p > 0) bits -= p * std::log2(p);
  return bits;
}

std::optional<Split> split_of(const Ground& ground, const std::vector<LineExplanation>& all,
                              const Observed& seen) {
  std::optional<Split> best;
  for (std::size_t p = 0; p < seen.words.size(); ++p) {
    const Mask weak = seen.weak.empty() ? 0 : seen.weak[p];
    if ((ground.code->readable(p) & ~(seen.words[p].known | weak)) == 0) continue;
    const Split here{p, bits_at(all, p)};
    if (here.bits > 1e-9 && (!best || here.bits > best->bits)) best = here;
  }
  return best;
}

Explained conclude(const Ground& ground, std::vector<LineExplanation> found) {
  Explained out;
  out.explanations = std::move(found);
  normalise(out.explanations);
  if (!out.explanations.empty()) out.faults = out.explanations.front().faults.size();
  for (LineExplanation& one : out.explanations) {
    one.hazards = hazards_of(*ground.code, one.words);
    one.silent = !one.faults.empty() && silent(*ground.code, one.words);
  }
  out.hazards = all_hazards(out.explanations);
  return out;
}

}  // namespace

std::vector<Hazard> all_hazards(const std::vector<LineExplanation>& explanations) {
  std::vector<Hazard> out;
  std::vector<std::size_t> times;
  for (const LineExplanation& one : explanations)
    for (const Hazard& hazard : one.hazards) {
      const auto it = std::find_if(out.begin(), out.end(), [&](const Hazard& h) {
        return h.danger == hazard.danger && h.position == hazard.position &&
               h.reads == hazard.reads;
      });
      if (it == out.end())
        out.push_back(hazard), times.push_back(1);
      else
        it->certain = it->certain && hazard.certain,
        ++times[static_cast<std::size_t>(it - out.begin())];
    }
  for (std::size_t k = 0; k < out.size(); ++k)
    out[k].certain = out[k].certain && times[k] == explanations.size();
  std::stable_sort(out.begin(), out.end(), [](const Hazard& x, const Hazard& y) {
    return x.danger != y.danger ? x.danger < y.danger : x.position < y.position;
  });
  return out;
}

Explained explain(const Ground& ground, const Observed& observed, const ExplainOptions& options) {
  Enumeration search(ground, options,
                     [&](const Effect& effect) { return fit_of(observed, effect); });
  Explained out = conclude(ground, search.smallest());
  out.next = split_of(ground, out.explanations, observed);
  out.complete = std::all_of(observed.words.begin(), observed.words.end(), [&](const Word& word) {
    const auto p = static_cast<std::size_t>(&word - observed.words.data());
    const Mask weak = observed.weak.empty() ? 0 : observed.weak[p];
    return (ground.code->readable(p) & ~(word.known | weak)) == 0;
  });
  return out;
}

Explained explain_walk(const Ground& ground, const std::vector<Word>& seen, bool back,
                       const ExplainOptions& options) {
  Enumeration search(ground, options, [&](const Effect& effect) {
    return walk_fits(*ground.code, seen, effect, back) == Fits::whole ? std::optional(0.0)
                                                                      : std::nullopt;
  });
  const Fits good = walk_fits(*ground.code, seen, effect_of(ground, {}), back);
  if (good == Fits::in_part) {
    LineExplanation nothing_wrong;
    nothing_wrong.words = ground.code->words;
    return conclude(ground, {nothing_wrong});
  }
  Explained out = conclude(ground, search.smallest());
  if (good == Fits::no) out.gone_past = gone_past(*ground.code, seen, back);
  out.complete = out.gone_past.empty() && !seen.empty();
  if (!out.gone_past.empty())
    for (Hazard& hazard : out.hazards) hazard.certain = false;
  return out;
}

}  // namespace pinproof::lever
