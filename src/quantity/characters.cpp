#include "quantity/characters.h"

#include <utf8proc.h>

#include <array>

#include "quantity/error.h"

namespace pinproof {
namespace {

const utf8proc_property_t& property_of(char32_t code) {
  return *utf8proc_get_property(static_cast<utf8proc_int32_t>(code));
}

bool is_in(char32_t code, char32_t first, char32_t last) { return code >= first && code <= last; }

// Format characters that say nothing of direction and still change how a line is read: the
// deprecated ones, the brackets of an interlinear annotation, and the tags (Unicode 15, 23.3, 23.8,
// 23.9). No property tells them from the joiners, which words of many languages need.
bool is_deprecated_format(char32_t code) {
  return is_in(code, 0x206A, 0x206F) || is_in(code, 0xFFF9, 0xFFFB) ||
         is_in(code, 0xE0000, 0xE007F);
}

// Terminals differ about pictures, U+1F000 to U+1FAFF; planes 2 and 3 are wide, what is not
// assigned yet too (UAX #11).
bool may_be_wide(char32_t code) {
  return is_in(code, 0x1F000, 0x1FAFF) || is_in(code, 0x20000, 0x3FFFD);
}

// Makes the picture before it a wide one on some terminals: counted as the column that it may add.
constexpr char32_t kPictureSelector = 0xFE0F;

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
    lead.low = 0x80;
    lead.high = 0xBF;
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

bool turns_writing(char32_t code) {
  const auto& property = property_of(code);
  return property.category == UTF8PROC_CATEGORY_CF && property.ignorable &&
         property.bidi_class != UTF8PROC_BIDI_CLASS_BN;
}

bool is_control(char32_t code) {
  switch (property_of(code).category) {
    case UTF8PROC_CATEGORY_CC:
    case UTF8PROC_CATEGORY_ZL:
    case UTF8PROC_CATEGORY_ZP:
      return true;
    default:
      return turns_writing(code) || is_deprecated_format(code);
  }
}

bool is_unseen(char32_t code) {
  return is_control(code) || property_of(code).category == UTF8PROC_CATEGORY_CF ||
         is_in(code, 0xFFFC, 0xFFFF) || code >= 0xE0000;
}

std::size_t columns_of(char32_t code) {
  if (code < 0x300 || code == kPictureSelector || is_control(code)) return 1;
  const auto& property = property_of(code);
  switch (property.category) {
    case UTF8PROC_CATEGORY_MN:
    case UTF8PROC_CATEGORY_ME:
      return 0;
    case UTF8PROC_CATEGORY_CF:
      return property.ignorable ? 0 : 1;
    default:
      return property.charwidth == 2 || may_be_wide(code) ? 2 : 1;
  }
}

void append(std::string& out, char32_t code) {
  std::array<utf8proc_uint8_t, 4> bytes{};
  const auto count = utf8proc_encode_char(static_cast<utf8proc_int32_t>(code), bytes.data());
  out.append(bytes.begin(), bytes.begin() + count);
}

}  // namespace pinproof
