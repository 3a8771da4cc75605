// Line faults as a person would think them through on paper: tables are texts, faults act on them.
// Shares nothing with the code under test.
#pragma once

#include <algorithm>
#include <functional>
#include <set>
#include <string>
#include <utility>
#include <vector>

namespace pinproof::lever {

using Text = std::vector<std::string>;  // one row a position

struct PaperFault {
  std::string name;
  std::string kind;
  int stage;  // 0 lever, 1 common, 2 contacts, 3 order, 4 touching
  std::function<Text(const Text&)> on;
};

inline Text each_row(const Text& table, const std::function<void(std::string&)>& change) {
  Text out = table;
  for (std::string& row : out) change(row);
  return out;
}

inline char both(char x, char y) {
  return x == '0' || y == '0' ? '0' : x == '?' || y == '?' ? '?' : '1';
}

inline std::vector<PaperFault> paper_faults(std::size_t n) {
  std::vector<PaperFault> out;
  const auto add = [&](std::string name, std::string kind, int stage,
                       std::function<Text(const Text&)> on) {
    out.push_back({std::move(name), std::move(kind), stage, std::move(on)});
  };
  const auto row_wise = [&](std::string name, std::string kind, int stage,
                            const std::function<void(std::string&)>& change) {
    add(std::move(name), std::move(kind), stage,
        [change](const Text& t) { return each_row(t, change); });
  };
  for (std::size_t a = 0; a < n; ++a) {
    const std::string A = std::to_string(a);
    row_wise("open " + A, "line-stuck-open", 2, [a](std::string& r) { r[a] = '1'; });
    row_wise("closed " + A, "line-stuck-closed", 2, [a](std::string& r) { r[a] = '0'; });
    for (std::size_t b = a + 1; b < n; ++b) {
      const std::string AB = A + " " + std::to_string(b);
      row_wise("bridge " + AB, "lines-bridged", 4,
               [a, b](std::string& r) { r[a] = r[b] = both(r[a], r[b]); });
      row_wise("swap " + AB, "lines-swapped", 3, [a, b](std::string& r) { std::swap(r[a], r[b]); });
      if (b < a + 2) continue;
      row_wise("up " + AB, "lines-shifted", 3, [a, b](std::string& r) {
        const char last = r[b];
        for (std::size_t k = b; k > a; --k) r[k] = r[k - 1];
        r[a] = last;
      });
      row_wise("down " + AB, "lines-shifted", 3, [a, b](std::string& r) {
        const char first = r[a];
        for (std::size_t k = a; k < b; ++k) r[k] = r[k + 1];
        r[b] = first;
      });
    }
  }
  row_wise("lost", "common-lost", 1, [](std::string& r) { r = std::string(r.size(), '1'); });
  const std::string nothing(n, '?');
  for (const int by : {1, -1})
    add("step " + std::to_string(by), "lever-a-step-off", 0, [by, nothing](const Text& t) {
      Text moved(t.size(), nothing);
      for (int p = 0; p < int(t.size()); ++p)
        if (const int from = p + by; from >= 0 && from < int(t.size()))
          moved[std::size_t(p)] = t[std::size_t(from)];
      return moved;
    });
  for (const int by : {1, -1})
    add("half " + std::to_string(by), "lever-half-a-step-off", 0, [by, nothing](const Text& t) {
      Text moved(t.size(), nothing);
      for (int p = 0; p < int(t.size()); ++p) {
        const int from = p + by;
        if (from < 0 || from >= int(t.size())) continue;
        std::string row = t[std::size_t(p)];
        for (std::size_t k = 0; k < row.size(); ++k)
          if (row[k] != t[std::size_t(from)][k]) row[k] = '?';
        moved[std::size_t(p)] = row;
      }
      return moved;
    });
  return out;
}

// A set of faults by stages, those of one stage in the order given.
inline Text table_of(const Text& good, std::vector<const PaperFault*> faults) {
  std::stable_sort(faults.begin(), faults.end(),
                   [](const auto* x, const auto* y) { return x->stage < y->stage; });
  // What touches touches as a whole: three lines on two bridges are one.
  Text table = good;
  for (const PaperFault* fault : faults) table = fault->on(table);
  for (const PaperFault* fault : faults)
    if (fault->stage == 4) table = fault->on(table);
  return table;
}

inline bool could_be(const Text& foretold, const Text& seen) {
  for (std::size_t p = 0; p < seen.size(); ++p)
    for (std::size_t k = 0; k < seen[p].size(); ++k)
      if (foretold[p][k] != '?' && seen[p][k] != '?' && foretold[p][k] != seen[p][k]) return false;
  return true;
}

inline bool together(const PaperFault& x, const PaperFault& y) {
  if (&x == &y || (x.stage == 0 && y.stage == 0)) return false;
  return !(x.stage == 2 && y.stage == 2 && x.name.back() == y.name.back());
}

struct Sets {
  std::set<std::multiset<std::string>> names;
  std::vector<Text> tables;
};

// All smallest sets of at most two, by trying each.
inline Sets smallest_sets(const Text& good, const std::vector<PaperFault>& faults,
                          const Text& seen) {
  Sets out;
  const auto consider = [&](const std::vector<const PaperFault*>& set) {
    const Text table = table_of(good, set);
    if (!could_be(table, seen)) return;
    std::multiset<std::string> names;
    for (const auto* one : set) names.insert(one->name);
    out.names.insert(names);
    out.tables.push_back(table);
  };
  consider({});
  if (!out.names.empty()) return out;
  for (const auto& one : faults) consider({&one});
  if (!out.names.empty()) return out;
  for (const auto& one : faults)
    for (const auto& other : faults)
      if (together(one, other)) consider({&one, &other});
  return out;
}

}  // namespace pinproof::lever
