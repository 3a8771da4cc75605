#include "quantity/characters.h"

#include <algorithm>
#include <array>
#include <span>

#include "quantity/error.h"

namespace pinproof {
namespace {

struct Range {
  char32_t first, last;
};

bool is_in(char32_t code, std::span<const Range> ranges) {
  const auto at = std::upper_bound(ranges.begin(), ranges.end(), code,
                                   [](char32_t c, const Range& r) { return c < r.first; });
  return at != ranges.begin() && code <= std::prev(at)->last;
}

// Wide or full-width, and all of the pictures from U+1F000 on, which terminals differ about.
constexpr std::array kWide{
    Range{0x1100, 0x115F},   Range{0x231A, 0x231B},   Range{0x2329, 0x232A},
    Range{0x23E9, 0x23EC},   Range{0x23F0, 0x23F0},   Range{0x23F3, 0x23F3},
    Range{0x25FD, 0x25FE},   Range{0x2614, 0x2615},   Range{0x2630, 0x2637},
    Range{0x2648, 0x2653},   Range{0x267F, 0x267F},   Range{0x268A, 0x268F},
    Range{0x2693, 0x2693},   Range{0x26A1, 0x26A1},   Range{0x26AA, 0x26AB},
    Range{0x26BD, 0x26BE},   Range{0x26C4, 0x26C5},   Range{0x26CE, 0x26CE},
    Range{0x26D4, 0x26D4},   Range{0x26EA, 0x26EA},   Range{0x26F2, 0x26F3},
    Range{0x26F5, 0x26F5},   Range{0x26FA, 0x26FA},   Range{0x26FD, 0x26FD},
    Range{0x2705, 0x2705},   Range{0x270A, 0x270B},   Range{0x2728, 0x2728},
    Range{0x274C, 0x274C},   Range{0x274E, 0x274E},   Range{0x2753, 0x2755},
    Range{0x2757, 0x2757},   Range{0x2795, 0x2797},   Range{0x27B0, 0x27B0},
    Range{0x27BF, 0x27BF},   Range{0x2B1B, 0x2B1C},   Range{0x2B50, 0x2B50},
    Range{0x2B55, 0x2B55},   Range{0x2E80, 0x303E},   Range{0x3041, 0xA4CF},
    Range{0xA960, 0xA97C},   Range{0xAC00, 0xD7A3},   Range{0xF900, 0xFAFF},
    Range{0xFE10, 0xFE19},   Range{0xFE30, 0xFE6F},   Range{0xFF01, 0xFF60},
    Range{0xFFE0, 0xFFE6},   Range{0x16FE0, 0x18CFF}, Range{0x18D00, 0x1B2FF},
    Range{0x1D300, 0x1D376}, Range{0x1F000, 0x1FAFF}, Range{0x20000, 0x3FFFD}};

// Marks that stand on the letter before, where all terminals agree; others count as 1.
constexpr std::array kOnTop{
    Range{0x0300, 0x036F}, Range{0x0483, 0x0489}, Range{0x0591, 0x05BD}, Range{0x05BF, 0x05BF},
    Range{0x05C1, 0x05C2}, Range{0x05C4, 0x05C5}, Range{0x05C7, 0x05C7}, Range{0x0610, 0x061A},
    Range{0x064B, 0x065F}, Range{0x0670, 0x0670}, Range{0x06D6, 0x06DC}, Range{0x06DF, 0x06E4},
    Range{0x06E7, 0x06E8}, Range{0x06EA, 0x06ED}, Range{0x093C, 0x093C}, Range{0x0941, 0x0948},
    Range{0x094D, 0x094D}, Range{0x0E31, 0x0E31}, Range{0x0E34, 0x0E3A}, Range{0x0E47, 0x0E4E},
    Range{0x1AB0, 0x1ACE}, Range{0x1DC0, 0x1DFF}, Range{0x200B, 0x200D}, Range{0x20D0, 0x20F0},
    Range{0x302A, 0x302D}, Range{0x3099, 0x309A}, Range{0xFE00, 0xFE0E}, Range{0xFE20, 0xFE2F},
    Range{0xFEFF, 0xFEFF}};

constexpr std::array kControls{Range{0, 0x1F},        Range{0x7F, 0x9F},      Range{0x061C, 0x061C},
                               Range{0x200E, 0x200F}, Range{0x2028, 0x202E},  Range{0x2066, 0x206F},
                               Range{0xFFF9, 0xFFFB}, Range{0xE0000, 0xE007F}};

// What a lead byte promises, and the limits of the byte behind it: Unicode 15, table 3-7.
struct Lead {
  std::size_t more = 0;
  unsigned low = 0x80, high = 0xBF;
};

Lead lead_of(unsigned byte) {
  if (byte >= 0xC2 && byte <= 0xDF) return {1};
  if (byte == 0xE0) return {2, 0xA0};
  if (byte == 0xED) return {2, 0x80, 0x9F};  // no halves of pairs
  if (byte >= 0xE1 && byte <= 0xEF) return {2};
  if (byte == 0xF0) return {3, 0x90};
  if (byte >= 0xF1 && byte <= 0xF3) return {3};
  if (byte == 0xF4) return {3, 0x80, 0x8F};
  return {};
}

unsigned byte_at(std::string_view text, std::size_t at) {
  return static_cast<unsigned char>(text[at]);
}

}  // namespace

Character first_character(std::string_view text) {
  const unsigned first = byte_at(text, 0);
  if (first < 0x80) return {first, 1, true};
  Lead lead = lead_of(first);
  if (lead.more == 0) return {0xFFFD, 1, false};
  char32_t code = first & (0x3Fu >> lead.more);
  for (std::size_t k = 1; k <= lead.more; ++k) {
    const unsigned byte = k < text.size() ? byte_at(text, k) : 0;
    if (byte < lead.low || byte > lead.high) return {0xFFFD, k, false};
    code = code << 6 | (byte & 0x3Fu);
    lead.low = 0x80, lead.high = 0xBF;
  }
  return {code, lead.more + 1, true};
}

std::string clean_text(std::string_view text, std::size_t most_bytes) {
  std::string out;
  for (std::string_view rest = text; !rest.empty();) {
    const Character one = first_character(rest);
    if (one.valid && one.code != 0)
      out += rest.substr(0, one.bytes);
    else
      append(out, 0xFFFD);
    rest.remove_prefix(one.bytes);
    if (out.size() > most_bytes)
      throw Error(Fault::usage, "a text of " + std::to_string(text.size()) + " bytes; at most " +
                                    std::to_string(most_bytes) + " are allowed");
  }
  return out;
}

bool is_control(char32_t code) { return is_in(code, kControls); }

std::size_t columns_of(char32_t code) {
  if (code < 0x300) return 1;
  return is_in(code, kOnTop) ? 0 : is_in(code, kWide) ? 2 : 1;
}

std::string url_escaped(std::string_view text) {
  constexpr std::string_view kDigits = "0123456789ABCDEF";
  std::string out;
  for (const char c : text) {
    const bool unreserved = (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') ||
                            (c >= '0' && c <= '9') ||
                            std::string_view("-._~").find(c) != std::string_view::npos;
    const auto byte = static_cast<unsigned char>(c);
    if (unreserved)
      out += c;
    else
      out += {'%', kDigits[byte >> 4], kDigits[byte & 15]};
  }
  return out;
}

void append(std::string& out, char32_t code) {
  const auto put = [&](char32_t byte) { out += static_cast<char>(byte); };
  const auto tail = [&](unsigned shift) { put(0x80 | (code >> shift & 0x3F)); };
  if (code < 0x80) return put(code);
  if (code < 0x800) return put(0xC0 | code >> 6), tail(0);
  if (code < 0x10000) return put(0xE0 | code >> 12), tail(6), tail(0);
  put(0xF0 | code >> 18), tail(12), tail(6), tail(0);
}

}  // namespace pinproof
