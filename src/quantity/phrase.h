// Small pieces that sentences, tables and plots are made of: bare numbers, shares, counts, lists.
// Locale-free. Numbers with a unit: quantity/text.h.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace pinproof {

/// "12.30": so many decimals, none where fewer than 0 are asked for. As printf's %.*f.
std::string fixed(double value, int decimals);

/// "0.01235", "1.2e-07": at most so many significant digits, zeros behind the point left out. As
/// printf's %.*g.
std::string significant(double value, int digits);

/// A share of 1 in percent: percent(0.123, 1) is "12.3 %".
std::string percent(double share, int decimals);

/// "1 pack", "2 packs", "0 packs"; `many` where it is not `one` and an "s".
std::string counted(std::size_t n, std::string_view one);
std::string counted(std::size_t n, std::string_view one, std::string_view many);

/// All words in one line. `words`: any range of texts.
template <class Words>
std::string joined(const Words& words, std::string_view between = ", ") {
  std::string out;
  for (const auto& word : words) {
    if (!out.empty()) out += between;
    out += word;
  }
  return out;
}

}  // namespace pinproof
