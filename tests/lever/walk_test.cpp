// Random walks with bounce, noise and positions passed without a stop: nothing is taken for a stand
// that was none, and every stand is decoded. The walks are drawn here; nothing of them is known to
// the code under test.
#include "lever/walk.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <cstdio>
#include <random>

#include "lever/explain.h"
#include "tables.h"

namespace pinproof::lever {
namespace {

constexpr double kLook_s = 0.002;

// A lever that somebody moves: what its contacts show, look by look.
class Hand {
 public:
  Hand(const RangeCode& code, std::uint64_t seed) : code_(code), random_(seed) {
    at_ = draw(0, code.positions.size() - 1);
    shown_ = code.words[at_].closed;
  }

  struct Look {
    double at_s;
    Word word;
    bool stands;              ///< at rest, and for long enough
    std::size_t at, towards;  ///< where the lever is, and where it is being moved to
  };

  // Moves to another position, by single steps, and stands there, perhaps too shortly.
  std::vector<Look> move(bool stand) {
    std::vector<Look> out;
    const std::size_t target = draw(0, code_.positions.size() - 1);
    do {
      const std::size_t next = target == at_ ? at_ : target > at_ ? at_ + 1 : at_ - 1;
      step(next, out);
      at_ = next;
      if (at_ != target) rest(uniform(0.0, 0.1), out, false);
    } while (at_ != target);
    rest(stand ? uniform(0.5, 1.0) : uniform(0.0, 0.15), out, stand);
    return out;
  }
  std::size_t at() const { return at_; }
  std::vector<Look> stay(double seconds) {
    std::vector<Look> out;
    rest(seconds, out, true);
    return out;
  }

 private:
  std::size_t draw(std::size_t low, std::size_t high) {
    return std::uniform_int_distribution<std::size_t>(low, high)(random_);
  }
  double uniform(double low, double high) {
    return std::uniform_real_distribution<double>(low, high)(random_);
  }
  bool chance(double p) { return std::bernoulli_distribution(p)(random_); }

  // Each contact that changes does so at a time of its own, and bounces for up to 10 ms.
  void step(std::size_t next, std::vector<Look>& out) {
    const Mask target = code_.words[next].closed;
    const Mask changes = shown_ ^ target;
    const double takes_s = uniform(0.04, 0.25);
    std::array<double, kMostColumns> when{}, calm{};
    for (std::size_t k = 0; k < kMostColumns; ++k)
      when[k] = uniform(0.1, 0.9) * takes_s, calm[k] = when[k] + uniform(0.0, 0.01);
    double t = 0;
    while (t < takes_s) {
      Mask now = shown_;
      for (std::size_t k = 0; k < kMostColumns; ++k)
        if (((changes >> k) & 1U) != 0 && t >= when[k] && (t >= calm[k] || chance(0.5)))
          now ^= Mask{1} << k;
      look(now, false, next, out);
      t += kLook_s;
    }
    shown_ = target;
  }

  void rest(double seconds, std::vector<Look>& out, bool stands) {
    double t = 0;
    while (t < seconds) {
      look(shown_, stands, at_, out);
      t += kLook_s;
    }
  }

  // One look in fifty has one contact wrong.
  void look(Mask closed, bool stands, std::size_t towards, std::vector<Look>& out) {
    if (chance(0.02)) closed ^= Mask{1} << draw(0, code_.columns.size() - 1);
    out.push_back({time_s_ += kLook_s, {closed, code_.all()}, stands, at_, towards});
  }

  const RangeCode& code_;
  std::mt19937_64 random_;
  std::size_t at_ = 0;
  Mask shown_ = 0;
  double time_s_ = 0;
};

struct Tally {
  std::size_t walks = 0, stands = 0, decoded = 0, wrong = 0, passed = 0;
  double worst_s = 0;
};

void walk_once(const RangeCode& code, std::uint64_t seed, Tally& tally) {
  Hand hand(code, seed);
  Walk walk(code);
  std::mt19937_64 choose(seed + 1);
  std::optional<std::size_t> last;
  ++tally.walks;
  const auto follow = [&](const std::vector<Hand::Look>& looks, bool stand) {
    const std::size_t target = hand.at();
    double stands_since = -1;
    for (const auto& look : looks) {
      if (look.stands && stands_since < 0) stands_since = look.at_s;
      const auto settled = walk.add(look.at_s, look.word);
      if (!settled || settled->positions.size() != 1) continue;
      last = settled->positions.front();
      // One that is passed slowly may count as a stand, one where the lever is not never.
      if (*last != look.at && *last != look.towards) ++tally.wrong;
      if (look.stands) tally.worst_s = std::max(tally.worst_s, look.at_s - stands_since);
    }
    const bool seen = last == target;
    if (stand) ++tally.stands, tally.decoded += seen;
    if (!stand) ++tally.passed;
  };
  follow(hand.stay(0.6), true);
  for (int moves = 0; moves < 6; ++moves) {
    const bool stand = std::bernoulli_distribution(0.7)(choose);
    const auto looks = hand.move(stand);
    follow(looks, stand);
  }
}

TEST_CASE("10,000 walks with bounce, noise and positions passed by") {
  Tally tally;
  for (const auto& example : example_tables()) {
    const RangeCode code = code_from(example.words);
    for (std::uint64_t seed = 0; seed < 3334; ++seed) walk_once(code, 1000 * seed + 7, tally);
  }
  std::printf(
      "%zu walks: %zu stands, decoded %zu, wrong accepts %zu, %zu stops too short to count; "
      "settled at most %.2f s after the lever stood\n",
      tally.walks, tally.stands, tally.decoded, tally.wrong, tally.passed, tally.worst_s);
  CHECK(tally.walks >= 10000);
  CHECK(tally.wrong == 0);
  CHECK(tally.decoded == tally.stands);
}

// By hand one line is read after the other: looks that are far apart, and know little.
TEST_CASE("slow looks need two that agree") {
  const RangeCode code = code_from(example_tables()[2].words);
  Walk walk(code);
  double t = 0;
  const Word p = code.words[0], r = code.words[1];
  for (int k = 0; k < 4; ++k) walk.add(t += 0.25, p);
  REQUIRE(walk.settled().size() == 1);
  CHECK(walk.settled().front().positions == std::vector<std::size_t>{0});
  Word odd = p;
  odd.closed ^= 1;
  walk.add(t += 0.25, odd);  // once only
  for (int k = 0; k < 3; ++k) walk.add(t += 0.25, p);
  CHECK(walk.settled().size() == 1);
  for (int k = 0; k < 4; ++k) walk.add(t += 0.25, r);
  REQUIRE(walk.settled().size() == 2);
  CHECK(walk.settled().back().positions == std::vector<std::size_t>{1});
}

TEST_CASE("a stop between two positions is no fault") {
  const RangeCode code = code_from(example_tables()[2].words);
  const Observed nothing{std::vector<Word>(code.positions.size()),
                         std::vector<Mask>(code.positions.size())};
  const Ground ground(code, nothing);
  std::vector<Word> seen;
  for (const Word& word : code.words) seen.push_back(word);
  Word held = code.words[3];  // from D to 3 two lines change: one of them has
  const Mask changes = code.words[3].closed ^ code.words[4].closed;
  held.closed ^= changes & (~changes + 1);
  seen.insert(seen.begin() + 4, held);
  CHECK(code.between_of(held) == std::optional<std::size_t>{3});
  CHECK(!code.between_of(code.words[2]).has_value());
  const auto result = explain_walk(ground, seen, false);
  CHECK(result.faults == 0);
  CHECK(result.explanations.size() == 1);
  // Not gone to the end yet: nothing is wrong so far, and not all was seen.
  const auto part = explain_walk(ground, {seen.begin(), seen.begin() + 4}, true);
  CHECK(part.faults == 0);
  CHECK(!part.complete);
  CHECK(result.complete);
  seen[4] = {0, code.all()};  // all lines open: that is not between D and 3
  CHECK(explain_walk(ground, seen, false).faults > 0);
}

// A good pack in quick hands: any stops left out, never a wrong word, is told from one that shows a
// wrong word once.
TEST_CASE("positions gone past are no fault, a wrong word beside them is one") {
  for (const auto& example : example_tables()) {
    const RangeCode code = code_from(example.words);
    const std::size_t n = code.positions.size();
    const Observed nothing{std::vector<Word>(n), std::vector<Mask>(n)};
    const Ground ground(code, nothing);
    std::mt19937 draw(41);
    std::size_t hurried = 0;
    for (int k = 0; k < 40; ++k) {
      std::vector<std::size_t> stops;
      for (std::size_t p = 0; p < n; ++p) stops.push_back(p);
      for (std::size_t p = n - 1; p-- > 0;) stops.push_back(p);
      std::erase_if(stops, [&](std::size_t) { return std::bernoulli_distribution(0.5)(draw); });
      if (stops.size() < 2) continue;
      std::vector<Word> seen;
      for (const std::size_t p : stops)
        if (seen.empty() || !(seen.back() == code.words[p])) seen.push_back(code.words[p]);
      const Explained quick = explain_walk(ground, seen, true);
      // It may also be the begin of a walk with all its stops.
      if (quick.gone_past.empty()) {
        CHECK(quick.faults == 0);
        continue;
      }
      ++hurried;
      for (std::size_t p = 0; p < n; ++p) {
        const auto times = std::count(seen.begin(), seen.end(), code.words[p]);
        const bool told =
            std::find(quick.gone_past.begin(), quick.gone_past.end(), p) != quick.gone_past.end();
        CHECK(told == (times < (p == n - 1 ? 1 : 2)));
      }
      const std::size_t wrong =
          std::uniform_int_distribution<std::size_t>(0, seen.size() - 1)(draw);
      while (!code.decode(seen[wrong]).empty() || code.between_of(seen[wrong]))
        seen[wrong] = {static_cast<Mask>(draw()) & code.all(), code.all()};
      CHECK(explain_walk(ground, seen, true).gone_past.empty());
    }
    INFO(example.name);
    CHECK(hurried >= 20);
  }
}

TEST_CASE("a free walk names the fault though most of its words are no codes") {
  for (const auto& example : example_tables()) {
    const RangeCode code = code_from(example.words);
    const Observed nothing{std::vector<Word>(code.positions.size()),
                           std::vector<Mask>(code.positions.size())};
    const Ground ground(code, nothing);
    std::size_t tried = 0, kept = 0;
    for (const LineFault& fault : single_faults(ground)) {
      const Effect effect = effect_of(ground, {&fault, 1});
      std::vector<Word> seen;
      bool whole = true;
      const auto pass = [&](std::size_t position) {
        const Word word = effect.at(position);
        whole = whole && (word.known & code.all()) == code.all();
        if (seen.empty() || !(seen.back() == word)) seen.push_back(word);
      };
      for (std::size_t p = 0; p < code.positions.size(); ++p) pass(p);
      for (std::size_t p = code.positions.size() - 1; p-- > 0;) pass(p);
      if (!whole) continue;  // a half step shows what nobody wrote down
      const auto result = explain_walk(ground, seen, true);
      ++tried;
      kept += std::any_of(
          result.explanations.begin(), result.explanations.end(), [&](const LineExplanation& one) {
            return one.faults == std::vector{fault} ||
                   std::find(one.alike.begin(), one.alike.end(), std::vector{fault}) !=
                       one.alike.end();
          });
    }
    INFO(example.name);
    CHECK(tried >= 25);
    CHECK(kept == tried);
  }
}

}  // namespace
}  // namespace pinproof::lever
