// Every single and double line fault of the example tables, against an enumeration of its own that
// shares nothing with the code under test.
#include "lever/explain.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <cstdio>
#include <map>
#include <set>

#include "paper_faults.h"
#include "tables.h"

namespace pinproof::lever {
namespace {

std::string paper_name(const LineFault& f) {
  const std::string kind(f.kind->name);
  const std::string a = std::to_string(f.a), ab = a + " " + std::to_string(f.b);
  if (kind == "line-stuck-open") return "open " + a;
  if (kind == "line-stuck-closed") return "closed " + a;
  if (kind == "lines-bridged") return "bridge " + ab;
  if (kind == "lines-swapped") return "swap " + ab;
  if (kind == "lines-shifted") return (f.step > 0 ? "up " : "down ") + ab;
  if (kind == "common-lost") return "lost";
  if (kind == "lever-a-step-off") return f.a == 1 ? "step 1" : "step -1";
  return f.a == 3 ? "half 1" : "half -1";
}

// Hazards on paper: which code is read for which, certain or possible, over all sets that remain.
std::set<std::string> paper_hazards(const Text& good, const std::vector<Text>& tables,
                                    bool permit = false) {
  std::set<std::string> out;
  const std::size_t lines = good.front().size() - (permit ? 1 : 0);
  for (const Text& table : tables)
    for (std::size_t p = 0; p < good.size(); ++p) {
      const bool parked = p == 0 || p == 2;
      if (permit && !parked && table[p].back() != '1')
        out.insert("start-permit-in-gear " + std::to_string(p) + ">" + std::to_string(p));
      for (std::size_t as = 0; as < good.size(); ++as) {
        if (!could_be({table[p].substr(0, lines)}, {good[as].substr(0, lines)})) continue;
        const bool read_parked = as == 0 || as == 2;
        const std::string where = std::to_string(p) + ">" + std::to_string(as);
        if (!parked && read_parked) out.insert("start-in-gear " + where);
        if (parked && !read_parked) out.insert("neutral-reads-gear " + where);
        if (!parked && !read_parked && (p == 1) != (as == 1))
          out.insert("reverse-confused " + where);
      }
    }
  return out;
}

std::set<std::string> hazards_in(const Explained& explained) {
  std::set<std::string> out;
  for (const Hazard& h : explained.hazards)
    out.insert(std::string(name_of(h.danger)) + " " + std::to_string(h.position) + ">" +
               std::to_string(h.reads));
  return out;
}

std::multiset<std::string> names_of(const std::vector<LineFault>& faults) {
  std::multiset<std::string> out;
  for (const LineFault& fault : faults) out.insert(paper_name(fault));
  return out;
}

std::set<std::multiset<std::string>> sets_in(const Explained& explained) {
  std::set<std::multiset<std::string>> out;
  for (const LineExplanation& one : explained.explanations) {
    out.insert(names_of(one.faults));
    for (const auto& other : one.alike) out.insert(names_of(other));
  }
  return out;
}

Observed observed_of(const Text& table) {
  Observed out;
  for (const std::string& row : table) out.words.push_back(word_from(row));
  out.weak.assign(table.size(), 0);
  return out;
}

Explained explained(const RangeCode& code, const Text& seen,
                    std::vector<std::string_view> kinds = {}) {
  const Observed observed = observed_of(seen);
  const Ground ground(code, observed);
  ExplainOptions options;
  options.kinds = std::move(kinds);
  return explain(ground, observed, options);
}

const std::vector<std::string_view> kBasic{"line-stuck-open", "line-stuck-closed", "lines-bridged",
                                           "lines-swapped", "common-lost"};

bool basic(const PaperFault& fault) {
  return std::find(kBasic.begin(), kBasic.end(), fault.kind) != kBasic.end();
}

TEST_CASE("a good table has no fault, in every example") {
  for (const auto& example : example_tables()) {
    const auto result = explained(code_from(example.words), example.words);
    REQUIRE(result.explanations.size() == 1);
    CHECK(result.explanations.front().faults.empty());
    CHECK(result.hazards.empty());
    CHECK(result.complete);
    CHECK(!result.next.has_value());
  }
}

// Counted by an exhaustive search when the tables were chosen: singles, those by which a start
// is permitted in a driving position, those by which park or neutral reads a gear, those that
// never show an invalid code.
struct Counted {
  std::size_t singles, start, gear, silent;
};
constexpr std::array<Counted, 3> kCounted{Counted{21, 3, 5, 1}, Counted{21, 2, 2, 3},
                                          Counted{31, 0, 0, 0}};

TEST_CASE("every single fault: the smallest sets and the hazards are those found on paper") {
  for (std::size_t t = 0; t < example_tables().size(); ++t) {
    const Text& good = example_tables()[t].words;
    const RangeCode code = code_from(good);
    const auto faults = paper_faults(good.front().size());
    Counted counted{};
    std::size_t unique = 0, tried = 0;
    for (const PaperFault& fault : faults) {
      const Text seen = table_of(good, {&fault});
      const auto result = explained(code, seen);
      const auto sets = smallest_sets(good, faults, seen);
      INFO(example_tables()[t].name << ": " << fault.name);
      CHECK(sets_in(result) == sets.names);
      CHECK(hazards_in(result) == paper_hazards(good, sets.tables));
      if (!could_be(good, seen)) CHECK(sets_in(result).count({fault.name}) == 1);
      ++tried, unique += result.explanations.size() == 1;
      if (!basic(fault)) continue;
      ++counted.singles;
      // The half step whose code between two positions nobody wrote down may look like it.
      CHECK(explained(code, seen, kBasic).explanations.size() == 1);
      const auto& only = explained(code, seen, kBasic);
      const auto has = [&](Danger danger) {
        return std::any_of(only.hazards.begin(), only.hazards.end(),
                           [&](const Hazard& h) { return h.danger == danger; });
      };
      counted.start += has(Danger::start_in_gear);
      counted.gear += has(Danger::neutral_reads_gear);
      counted.silent += only.explanations.front().silent;
    }
    std::printf(
        "%-17s %zu singles, %zu uniquely named; of %zu basic ones %zu permit a start in "
        "gear, %zu read park or neutral as a gear, %zu are silent\n",
        example_tables()[t].name, tried, unique, counted.singles, counted.start, counted.gear,
        counted.silent);
    CHECK(counted.singles == kCounted[t].singles);
    CHECK(counted.start == kCounted[t].start);
    CHECK(counted.gear == kCounted[t].gear);
    CHECK(counted.silent == kCounted[t].silent);
  }
}

// Sixteen lines have hundreds of single faults and millions of triples: nobody waits for those.
TEST_CASE("a code of sixteen lines is explained to two faults, and gives up beyond") {
  RangeCode code = code_from(example_tables()[2].words);
  while (code.columns.size() < 16) {
    const Mask bit = Mask{1} << code.columns.size();
    code.columns.push_back({"L" + std::to_string(code.columns.size() + 1),
                            Role::line,
                            std::to_string(code.columns.size() + 1),
                            "case",
                            {}});
    code.lines |= bit;
    for (std::size_t p = 0; p < code.words.size(); ++p) {
      code.words[p].known |= bit;
      if ((p * code.columns.size()) % 3 == 0) code.words[p].closed |= bit;
    }
  }
  for (Word& word : code.between) word.known = 0, word.closed = 0;
  Observed seen{code.words, std::vector<Mask>(code.words.size())};
  seen.words[3].closed ^= 0x0421;  // wrong in one position only, in three lines
  const Ground ground(code, seen);
  const auto result = explain(ground, seen, {.most_faults = 3, .kinds = kBasic});
  CHECK(result.explanations.empty());
  CHECK(single_faults(ground).size() > 300);
}

struct Tally {
  std::size_t tried = 0, single = 0, unique = 0, held = 0;
  void add(const Explained& result, const PaperFault& x, const PaperFault& y) {
    ++tried;
    single += result.faults < 2;
    unique += result.faults == 2 && result.explanations.size() == 1;
    held += result.faults == 2 && sets_in(result).count({x.name, y.name}) == 1;
  }
};

TEST_CASE("every double fault: the smallest sets and the hazards are those found on paper") {
  for (const auto& example : example_tables()) {
    const Text& good = example.words;
    const RangeCode code = code_from(good);
    const auto faults = paper_faults(good.front().size());
    Tally tally;
    std::set<Text> done;
    for (const PaperFault& x : faults)
      for (const PaperFault& y : faults) {
        if (!together(x, y)) continue;
        const Text seen = table_of(good, {&x, &y});
        if (x.name > y.name && seen == table_of(good, {&y, &x})) continue;
        const auto result = explained(code, seen);
        tally.add(result, x, y);
        if (!done.insert(seen).second) continue;
        const auto sets = smallest_sets(good, faults, seen);
        INFO(example.name << ": " << x.name << " and " << y.name);
        CHECK(sets_in(result) == sets.names);
        CHECK(hazards_in(result) == paper_hazards(good, sets.tables));
      }
    std::printf(
        "%-17s %zu doubles of all kinds, %zu different tables: %.3f with one smallest "
        "wiring, %.3f look single, the true pair is kept in %zu of the %zu others\n",
        example.name, tally.tried, done.size(), double(tally.unique) / double(tally.tried),
        double(tally.single) / double(tally.tried), tally.held, tally.tried - tally.single);
    CHECK(tally.held == tally.tried - tally.single);
  }
}

TEST_CASE("with a start-permit contact beside the lines: singles and doubles, sets and hazards") {
  for (const auto& example : example_tables()) {
    Text good = example.words;
    for (std::size_t p = 0; p < good.size(); ++p) good[p] += p == 0 || p == 2 ? '0' : '1';
    const RangeCode code = code_from(good, true);
    const auto faults = paper_faults(good.front().size());
    std::set<Text> seen;
    for (const PaperFault& x : faults) {
      seen.insert(table_of(good, {&x}));
      for (const PaperFault& y : faults)
        if (together(x, y) && basic(x) && basic(y)) seen.insert(table_of(good, {&x, &y}));
    }
    std::size_t permitted = 0;
    for (const Text& table : seen) {
      const auto result = explained(code, table);
      const auto sets = smallest_sets(good, faults, table);
      INFO(example.name);
      CHECK(sets_in(result) == sets.names);
      CHECK(hazards_in(result) == paper_hazards(good, sets.tables, true));
      permitted += std::any_of(result.hazards.begin(), result.hazards.end(), [](const Hazard& h) {
        return h.danger == Danger::start_permit_in_gear;
      });
    }
    std::printf(
        "%-17s with a start-permit contact: %zu tables of one or two faults, in %zu of them "
        "it may be closed in a driving position\n",
        example.name, seen.size(), permitted);
    CHECK(permitted > 0);
  }
}

// What an exhaustive search gave when the tables were chosen: of all pairs of stuck lines, bridges,
// exchanges, a lost common and a lever that is a step off (but not one line stuck both ways, nor
// both steps), those with one smallest set and those that look like a single fault.
struct Bound {
  std::size_t of, unique, single;
};
constexpr std::array<Bound, 3> kBounds{Bound{248, 198, 26}, Bound{248, 204, 24},
                                       Bound{522, 419, 42}};

TEST_CASE("double faults of the kinds of that search are told at least as well") {
  auto kinds = kBasic;
  kinds.emplace_back("lever-a-step-off");
  for (std::size_t t = 0; t < example_tables().size(); ++t) {
    const Text& good = example_tables()[t].words;
    const RangeCode code = code_from(good);
    const auto faults = paper_faults(good.front().size());
    Tally tally;
    for (std::size_t i = 0; i < faults.size(); ++i)
      for (std::size_t j = i + 1; j < faults.size(); ++j) {
        const PaperFault &x = faults[i], &y = faults[j];
        const auto counts = [](const PaperFault& f) {
          return basic(f) || f.kind == "lever-a-step-off";
        };
        if (counts(x) && counts(y) && together(x, y))
          tally.add(explained(code, table_of(good, {&x, &y}), kinds), x, y);
      }
    std::printf(
        "%-17s %zu doubles: %zu with one smallest wiring (bound %zu), %zu look single "
        "(%zu)\n",
        example_tables()[t].name, tally.tried, tally.unique, kBounds[t].unique, tally.single,
        kBounds[t].single);
    CHECK(tally.tried == kBounds[t].of);
    CHECK(tally.unique >= kBounds[t].unique);
    CHECK(tally.single <= kBounds[t].single);
  }
}

}  // namespace
}  // namespace pinproof::lever
