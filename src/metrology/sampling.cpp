#include "metrology/sampling.h"

#include <algorithm>
#include <array>
#include <boost/math/distributions/beta.hpp>
#include <boost/math/distributions/binomial.hpp>
#include <boost/math/distributions/hypergeometric.hpp>
#include <string>

namespace pinproof::metrology {
namespace {

constexpr std::string_view kLetters = "ABCDEFGHJKLMNPQR";
constexpr std::array<std::size_t, 16> kSizes{2,  3,   5,   8,   13,  20,  32,   50,
                                             80, 125, 200, 315, 500, 800, 1250, 2000};
constexpr std::array<double, 5> kLimits{0.65, 1.0, 1.5, 2.5, 4.0};

// ISO 2859-1, table 1: greatest lot of each row, and its letters at S-1 to S-4, I, II, III.
struct LotRow {
  std::size_t most;
  std::string_view letters;
};
constexpr std::array kLots{
    LotRow{8, "AAAAAAB"},      LotRow{15, "AAAAABC"},     LotRow{25, "AABBBCD"},
    LotRow{50, "ABBCCDE"},     LotRow{90, "BBCCCEF"},     LotRow{150, "BBCDDFG"},
    LotRow{280, "BCDEEGH"},    LotRow{500, "BCDEFHJ"},    LotRow{1200, "CCEFGJK"},
    LotRow{3200, "CDEGHKL"},   LotRow{10000, "CDFGJLM"},  LotRow{35000, "CDFHKMN"},
    LotRow{150000, "DEGJLNP"}, LotRow{500000, "DEGJMPQ"}, LotRow{~std::size_t{0}, "DEHKNQR"}};
constexpr std::array<std::string_view, 7> kLevels{"S-1", "S-2", "S-3", "S-4", "I", "II", "III"};

// Tables 2-A and 2-B repeat along their diagonals: letter and limit one step on keep n x AQL. By
// the sum of both steps, an acceptance number, or an arrow to the plan before (-1) or after (-2).
constexpr int kUp = -1, kDown = -2;
constexpr std::size_t kFirst = 5;  // the diagonal of acceptance number 0 under normal inspection
constexpr std::array kNormal{0, kUp, kDown, 1, 2, 3, 5, 7, 10, 14, 21};
constexpr std::array kTightened{kDown, 0, kDown, kDown, 1, 2, 3, 5, 8, 12, 18};

template <std::size_t N>
int on_diagonal(const std::array<int, N>& row, std::size_t diagonal) {
  if (diagonal < kFirst) return kDown;
  return diagonal - kFirst < N ? row[diagonal - kFirst] : kUp;
}

}  // namespace

std::optional<char> code_letter(std::size_t lot, std::string_view level) {
  const auto at = std::find(kLevels.begin(), kLevels.end(), level);
  if (lot < 2 || at == kLevels.end()) return std::nullopt;
  const auto row =
      std::find_if(kLots.begin(), kLots.end(), [&](const LotRow& r) { return lot <= r.most; });
  return row->letters[static_cast<std::size_t>(at - kLevels.begin())];
}

std::optional<SamplePlan> single_plan(char letter, double AQL, Severity severity) {
  const auto limit = std::find(kLimits.begin(), kLimits.end(), AQL);
  const std::size_t first = kLetters.find(letter);
  if (limit == kLimits.end() || first == std::string_view::npos) return std::nullopt;
  const auto column = static_cast<std::size_t>(limit - kLimits.begin());
  const auto cell = [&](std::size_t row) {
    return severity == Severity::normal ? on_diagonal(kNormal, row + column)
                                        : on_diagonal(kTightened, row + column);
  };
  std::size_t row = first;
  const int way = cell(row);
  while (cell(row) < 0) {
    if ((way == kUp && row == 0) || (way == kDown && row + 1 == kLetters.size()))
      return std::nullopt;
    row = way == kUp ? row - 1 : row + 1;
  }
  return SamplePlan{kSizes[row], static_cast<std::size_t>(cell(row))};
}

double accept_probability(const SamplePlan& plan, double bad_share) {
  const boost::math::binomial bad(static_cast<double>(plan.n), bad_share);
  return plan.Ac >= plan.n ? 1 : boost::math::cdf(bad, static_cast<double>(plan.Ac));
}

double accept_probability(const SamplePlan& plan, std::size_t lot, std::size_t bad) {
  double out = 0;
  const std::size_t least = plan.n + bad > lot ? plan.n + bad - lot : 0;
  const boost::math::hypergeometric in_sample(
      static_cast<unsigned>(bad), static_cast<unsigned>(plan.n), static_cast<unsigned>(lot));
  for (std::size_t k = least; k <= std::min({plan.Ac, bad, plan.n}); ++k)
    out += boost::math::pdf(in_sample, static_cast<unsigned>(k));
  return std::min(out, 1.0);
}

// The binomial's lower tail is a beta's upper one.
double share_at(const SamplePlan& plan, double probability) {
  const boost::math::beta_distribution<> share(static_cast<double>(plan.Ac) + 1,
                                               static_cast<double>(plan.n - plan.Ac));
  return boost::math::quantile(boost::math::complement(share, probability));
}

void Switching::add(bool accepted) {
  if (state_ == SwitchingState::discontinued) return;
  if (state_ == SwitchingState::normal) {
    constexpr unsigned kFiveLots = 0x1F;
    last_ = ((last_ << 1U) | (accepted ? 0U : 1U)) & kFiveLots;
    if (__builtin_popcount(last_) < 2) return;
    state_ = SwitchingState::tightened;
    accepted_in_a_row_ = refused_tightened_ = 0;
    return;
  }
  accepted_in_a_row_ = accepted ? accepted_in_a_row_ + 1 : 0;
  if (!accepted && ++refused_tightened_ == 5) state_ = SwitchingState::discontinued;
  if (accepted_in_a_row_ == 5) state_ = SwitchingState::normal, last_ = 0;
}

}  // namespace pinproof::metrology
