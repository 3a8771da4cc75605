// What was seen of a lever explains the same whatever the order of the positions and of the lines:
// both only have names. Fixed seeds.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <numeric>
#include <random>

#include "lever/explain.h"
#include "tables.h"

using namespace pinproof::lever;

namespace {

// What it foretells, by the names of the positions: two explanations are one when they show the
// same words.
using Shown = std::map<std::string, double>;

Shown shown(const RangeCode& code, const Explained& explained) {
  Shown out;
  for (const LineExplanation& one : explained.explanations) {
    std::vector<std::string> words;
    for (std::size_t p = 0; p < one.words.size(); ++p)
      words.push_back(code.positions[p] + " " + code.text(one.words[p], false));
    std::sort(words.begin(), words.end());
    std::string all;
    for (const std::string& word : words) all += word + "\n";
    out[all] += one.probability;
  }
  return out;
}

void check_same(const Shown& x, const Shown& y) {
  REQUIRE(x.size() == y.size());
  for (const auto& [words, probability] : x) {
    INFO(words);
    REQUIRE(y.contains(words));
    CHECK(std::abs(y.at(words) - probability) < 1e-9);
  }
}

// Kinds that do not know which position stands beside which.
const std::vector<std::string_view> kOrderless{"line-stuck-open", "line-stuck-closed",
                                               "lines-bridged", "lines-swapped", "common-lost"};

struct RemarkedTaps {
  RangeCode code;
  Observed observed;
};

RemarkedTaps reordered(const RemarkedTaps& seen, const std::vector<std::size_t>& order) {
  RemarkedTaps out = seen;
  for (std::size_t p = 0; p < order.size(); ++p) {
    out.code.positions[p] = seen.code.positions[order[p]];
    out.code.words[p] = seen.code.words[order[p]];
    out.code.start_permitted[p] = seen.code.start_permitted[order[p]];
    out.code.reverse[p] = seen.code.reverse[order[p]];
    out.code.hidden[p] = seen.code.hidden[order[p]];
    out.observed.words[p] = seen.observed.words[order[p]];
    out.observed.weak[p] = seen.observed.weak[order[p]];
  }
  for (Word& between : out.code.between) between = {};  // of other neighbours now
  return out;
}

Explained explained(const RemarkedTaps& seen) {
  ExplainOptions options;
  options.kinds = kOrderless;
  return explain(Ground(seen.code, seen.observed), seen.observed, options);
}

// A word as a line fault shows it, with some positions not visited.
RemarkedTaps drawn(const ExampleTable& table, std::mt19937_64& random) {
  RemarkedTaps out{code_from(table.words), {}};
  const std::size_t lines = table.words.front().size();
  const std::size_t a = random() % lines, b = (a + 1 + random() % (lines - 1)) % lines;
  const std::uint64_t kind = random() % 4;
  for (std::string word : table.words) {
    if (kind == 0) word[a] = '1';
    if (kind == 1) word[a] = '0';
    if (kind == 2) std::swap(word[a], word[b]);
    if (kind == 3) word[a] = word[b] = std::min(word[a], word[b]);
    if (random() % 4 == 0) word.assign(lines, '?');
    out.observed.words.push_back(word_from(word));
    out.observed.weak.push_back(0);
  }
  return out;
}

}  // namespace

TEST_CASE("positions in any order explain the same") {
  std::mt19937_64 random(61);
  std::size_t found = 0;
  for (const ExampleTable& table : example_tables())
    for (int k = 0; k < 40; ++k) {
      const RemarkedTaps seen = drawn(table, random);
      std::vector<std::size_t> order(seen.code.positions.size());
      std::iota(order.begin(), order.end(), std::size_t{0});
      std::shuffle(order.begin(), order.end(), random);
      const RemarkedTaps other = reordered(seen, order);
      const Explained first = explained(seen), second = explained(other);
      found += first.explanations.size();
      INFO(table.name, " ", k);
      CHECK(first.faults == second.faults);
      CHECK(first.complete == second.complete);
      check_same(shown(seen.code, first), shown(other.code, second));
    }
  CHECK(found > 100);
}

TEST_CASE("observed positions written in any order are the same observation") {
  std::mt19937_64 random(62);
  for (const ExampleTable& table : example_tables()) {
    const RemarkedTaps seen = drawn(table, random);
    std::vector<std::size_t> order(seen.code.positions.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    const Shown first = shown(seen.code, explain(Ground(seen.code, seen.observed), seen.observed));
    for (int k = 0; k < 10; ++k) {
      std::shuffle(order.begin(), order.end(), random);
      Observed observed{std::vector<Word>(order.size()), std::vector<Mask>(order.size(), 0)};
      for (const std::size_t p : order) observed.words[p] = seen.observed.words[p];
      check_same(first, shown(seen.code, explain(Ground(seen.code, observed), observed)));
    }
  }
}
