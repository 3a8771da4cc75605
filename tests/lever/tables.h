// The three example code tables that the tests stand on, found by our own search for codes with
// the named property (P R N D 3 2 1; 1 open, 0 closed), and tables for tests that need a profile.
#pragma once

#include <array>
#include <string>
#include <vector>

#include "lever/code.h"

namespace pinproof::lever {

struct ExampleTable {
  const char* name;
  std::vector<std::string> words;
};

inline const std::vector<std::string>& example_positions() {
  static const std::vector<std::string> names{"P", "R", "N", "D", "3", "2", "1"};
  return names;
}

inline const std::array<ExampleTable, 3>& example_tables() {
  static const std::array<ExampleTable, 3> tables{
      ExampleTable{"G4 (Gray)", {"1101", "0101", "0111", "0011", "0010", "1010", "1000"}},
      ExampleTable{"O4 (odd parity)", {"0111", "1101", "1011", "0010", "1000", "0100", "0001"}},
      ExampleTable{"E5 (even parity)",
                   {"11110", "10100", "10111", "00101", "00011", "10010", "01010"}}};
  return tables;
}

inline Word word_from(const std::string& bits) {
  Word out;
  for (std::size_t k = 0; k < bits.size(); ++k) {
    if (bits[k] == '?') continue;
    out.known |= Mask{1} << k;
    if (bits[k] == '0') out.closed |= Mask{1} << k;
  }
  return out;
}

/// `permit`: the last column is the start-permit contact.
inline RangeCode code_from(const std::vector<std::string>& words, bool permit = false) {
  RangeCode out;
  for (std::size_t k = 0; k < words.front().size(); ++k) {
    out.columns.push_back(
        {"L" + std::to_string(k + 1), Role::line, std::to_string(k + 1), "case", {}});
    out.lines |= Mask{1} << k;
  }
  if (permit) {
    out.columns.back().role = Role::start_permit;
    out.lines &= ~(Mask{1} << (out.columns.size() - 1));
  }
  out.positions = example_positions();
  for (const std::string& word : words) out.words.push_back(word_from(word));
  for (std::size_t p = 0; p < words.size(); ++p) {
    out.start_permitted.push_back(p == 0 || p == 2);
    out.reverse.push_back(p == 1);
    out.hidden.push_back(0);
    if (p == 0) continue;
    std::string between = words[p];
    for (std::size_t k = 0; k < between.size(); ++k)
      if (words[p - 1][k] != between[k]) between[k] = '?';
    out.between.push_back(word_from(between));
  }
  return out;
}

}  // namespace pinproof::lever
