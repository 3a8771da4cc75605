// Text from outside: what is no UTF-8, what steers a terminal, and how wide characters are.
#include "quantity/characters.h"

#include <doctest/doctest.h>

#include <string>

#include "quantity/error.h"

using namespace pinproof;

namespace {

const std::string kBad = "\uFFFD";

std::string times(std::size_t count, const std::string& text) {
  std::string out;
  for (std::size_t k = 0; k < count; ++k) out += text;
  return out;
}

}  // namespace

TEST_CASE("every character there is comes through whole") {
  for (char32_t code = 1; code <= 0x10FFFF; ++code) {
    if (code >= 0xD800 && code <= 0xDFFF) continue;
    std::string text;
    append(text, code);
    const Character one = first_character(text + "x");
    REQUIRE(one.code == code);
    REQUIRE(one.bytes == text.size());
    REQUIRE(one.valid);
    REQUIRE(clean_text(text) == text);
  }
}

TEST_CASE("what is no UTF-8 becomes U+FFFD") {
  // Unicode 15, tables 3-8 to 3-11: one for each maximal subpart.
  CHECK(clean_text("\xC0\xAF\xE0\x80\xBF\xF0\x81\x82\x41") == times(8, kBad) + "A");
  CHECK(clean_text("\xED\xA0\x80\xED\xBF\xBF\xED\xAF\x41") == times(8, kBad) + "A");
  CHECK(clean_text("\xF4\x91\x92\x93\xFF\x41\x80\xBF\x42") ==
        times(5, kBad) + "A" + times(2, kBad) + "B");
  CHECK(clean_text("\xE1\x80\xE2\xF0\x91\x92\xF1\xBF\x41") == times(4, kBad) + "A");
  CHECK(clean_text("end \xF0\x9F\x99") == "end " + kBad);
  CHECK(clean_text(std::string("a\0b", 3)) == "a" + kBad + "b");  // servers refuse NUL in a text
}

TEST_CASE("what is text stays as it is, steering characters too") {
  const std::string text = "<b>\"A'\r\n\t\x1b[31m\u202e\u200f 🙂 漢";
  CHECK(clean_text(text) == text);
  CHECK(clean_text("") == "");
}

TEST_CASE("what is too long is refused, not cut") {
  CHECK(clean_text(std::string(16384, 'x')).size() == 16384);
  CHECK_THROWS_WITH_AS(clean_text(std::string(16385, 'x')),
                       "a text of 16385 bytes; at most 16384 are allowed", Error);
  CHECK(clean_text("漢", 3) == "漢");
  CHECK_THROWS_AS(clean_text("漢x", 3), Error);
  CHECK_THROWS_AS(clean_text("\xff", 2), Error);  // U+FFFD has three bytes
}

TEST_CASE("controls are what moves a cursor or turns the writing round") {
  for (const char32_t code : std::initializer_list<char32_t>{
           0x00, 0x09, 0x0A, 0x1B, 0x1F, 0x7F, 0x80, 0x9B, 0x9F, 0x200E, 0x200F, 0x2028, 0x2029,
           0x202A, 0x202E, 0x2066, 0x2069, 0x061C, 0xE0041})
    CHECK(is_control(code));
  for (const char32_t code : std::initializer_list<char32_t>{
           0x20, 0x7E, 0xA0, 0x3A9, 0x200D, 0x2027, 0x202F, 0x2065, 0x2714, 0xFFFD, 0x1F642})
    CHECK_FALSE(is_control(code));
}

TEST_CASE("columns by East_Asian_Width") {  // UAX 11
  for (const char32_t code : std::initializer_list<char32_t>{0x41, 0xE9, 0x3A9, 0xB1, 0x2026,
                                                             0x2714, 0x25B2, 0x5D0, 0xFF61})
    CHECK(columns_of(code) == 1);
  for (const char32_t code : std::initializer_list<char32_t>{0x1100, 0x3042, 0x4E00, 0x6F22, 0xAC00,
                                                             0xFF21, 0x1F642, 0x20000})
    CHECK(columns_of(code) == 2);
  for (const char32_t code :
       std::initializer_list<char32_t>{0x300, 0x36F, 0x5B0, 0x200B, 0x20D0, 0xFE20})
    CHECK(columns_of(code) == 0);
}

TEST_CASE("columns where terminals differ: the larger number") {
  // The selector that makes a picture wide, vowels that stand beside their letter, pictures that
  // are narrow by the table, and what planes 2 and 3 may still get.
  CHECK(columns_of(0xFE0F) == 1);
  for (const char32_t code : std::initializer_list<char32_t>{0x93E, 0x1031, 0x600, 0xAD})
    CHECK(columns_of(code) == 1);
  for (const char32_t code : std::initializer_list<char32_t>{0x1F321, 0x1F5A5, 0x1FAFF, 0x3FFFD})
    CHECK(columns_of(code) == 2);
  for (char32_t code = 0; code <= 0x10FFFF; ++code)  // each is shown as one "?"
    if (is_control(code)) REQUIRE(columns_of(code) == 1);
}

TEST_CASE("marks of any writing take no column, once they take no place") {
  for (const char32_t code : std::initializer_list<char32_t>{0x94D, 0xE31, 0xF71, 0x17B7, 0x20DD,
                                                             0x200D, 0x2060, 0xFE00, 0xFEFF})
    CHECK(columns_of(code) == 0);
}

TEST_CASE("what turns the writing round: the twelve of UAX 9, no more") {
  std::u32string found;
  for (char32_t code = 0; code <= 0x10FFFF; ++code)
    if (turns_writing(code)) found += code;
  CHECK(found == U"\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069");
}

TEST_CASE("what is not seen on paper") {
  for (const char32_t code : std::initializer_list<char32_t>{
           0x00,   0x1B,   0x7F,    0x9F,    0xAD,    0x600,   0x6DD,  0x70F,
           0x180E, 0x200B, 0x200D,  0x202E,  0x2028,  0x2060,  0x206A, 0xFEFF,
           0xFFF9, 0xFFFD, 0x13430, 0x1D173, 0xE0020, 0x10FFFF})
    CHECK(is_unseen(code));
  for (const char32_t code : std::initializer_list<char32_t>{0x20, 0x41, 0xA0, 0x301, 0x3A9, 0x5D0,
                                                             0x6F22, 0xFE0F, 0x1F642})
    CHECK_FALSE(is_unseen(code));
}
