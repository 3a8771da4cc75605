// Labels: exact sizes, the same bytes each time, names from outside harmless. That the QR code can
// be read is checked by label_check.py, with a scanner of others' making.
#include "report/label.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <string>
#include <vector>

#include "quantity/error.h"

// The system's font list is kept until the end of the process; a sanitizer calls that a leak.
extern "C" const char* __lsan_default_suppressions();
extern "C" const char* __lsan_default_suppressions() { return "leak:libfontconfig\n"; }

using namespace pinproof;
using inspection::Verdict;
using report::LabelCase;
using report::LabelSize;

namespace {

LabelCase sample() {
  return {.id = "01JDKX7Q4MZ8T5V6W7X8Y9ABCD",
          .serial = "SN-4711",
          .lot = "L-2024-20",
          .profile = "six-speed, 20 pins",
          .verdict = Verdict::accept,
          .level = inspection::Level::full,
          .date = "2024-05-17",
          .overridden_by = {}};
}

std::size_t count_of(const std::string& text, const std::string& what) {
  std::size_t count = 0;
  for (auto at = text.find(what); at != std::string::npos; at = text.find(what, at + 1)) ++count;
  return count;
}

// The numbers behind a name, as "/MediaBox [ 0 0 175.7 82.2 ]" has them.
std::vector<double> numbers_behind(const std::string& text, const std::string& name,
                                   std::size_t count) {
  const auto found = text.find(name);
  REQUIRE(found != std::string::npos);
  const char* at = text.c_str() + found + name.size();
  std::vector<double> out;
  while (out.size() < count) {
    char* end = nullptr;
    out.push_back(std::strtod(at, &end));
    REQUIRE(end != at);
    at = end;
  }
  return out;
}

std::string refusal(const LabelCase& one, const LabelSize& size) {
  std::string out;
  for (auto* const write : {&report::label_svg, &report::label_pdf}) {
    try {
      write(one, size);
      return "";
    } catch (const Error& e) {
      CHECK(e.fault() == Fault::usage);
      out = e.what();
    }
  }
  return out;
}

void check_columns(const std::string& text) {
  std::size_t used = 0;
  for (const char c : text) {
    if (c == '\n') used = 0;
    if (c != '\n' && (static_cast<unsigned char>(c) & 0xC0) != 0x80) ++used;
    CHECK(used <= 80);
  }
}

}  // namespace

TEST_CASE("a label has exactly the size that was asked for") {
  for (const LabelSize size :
       {LabelSize{}, {40, 20}, {100, 50}, {30, 15}, {200, 200}, {62.5, 29}}) {
    const std::string svg = report::label_svg(sample(), size);
    CHECK(numbers_behind(svg, " width=\"", 1)[0] == doctest::Approx(size.wide_mm).epsilon(1e-6));
    CHECK(numbers_behind(svg, " height=\"", 1)[0] == doctest::Approx(size.high_mm).epsilon(1e-6));
    CHECK(count_of(svg, "mm\"") == 2);
    const auto page = numbers_behind(report::label_pdf(sample(), size), "/MediaBox [", 4);
    CHECK(page[0] == 0);
    CHECK(page[1] == 0);
    CHECK(std::abs(page[2] - size.wide_mm * 72 / 25.4) < 0.01);
    CHECK(std::abs(page[3] - size.high_mm * 72 / 25.4) < 0.01);
  }
  CHECK(numbers_behind(report::label_svg(sample()), " width=\"", 1)[0] == 62);
}

TEST_CASE("sizes outside what printers of labels take are refused") {
  for (const LabelSize size : {LabelSize{29.9, 29},
                               {62, 14.9},
                               {200.1, 29},
                               {62, 201},
                               {0, 0},
                               {-62, 29},
                               {NAN, 29},
                               {62, INFINITY}})
    CHECK(refusal(sample(), size).find("30 to 200 wide and 15 to 200 high") != std::string::npos);
}

TEST_CASE("text is outlines, black and white only, and needs nothing from outside") {
  const std::string svg = report::label_svg(sample());
  CHECK(svg.starts_with("<?xml"));
  CHECK(count_of(svg, "<text") == 0);
  CHECK(count_of(svg, "<image") == 0);
  CHECK(count_of(svg, "href=\"http") == 0);
  CHECK(count_of(svg, "rgb(0%,0%,0%)") >= 8);  // shape, word, level, four rows, code
  CHECK(count_of(svg, "rgb(") ==
        count_of(svg, "rgb(0%,0%,0%)") + count_of(svg, "rgb(100%,100%,100%)"));
  const std::string pdf = report::label_pdf(sample());
  CHECK(pdf.starts_with("%PDF-1."));
  CHECK(count_of(pdf, "/FontFile") == 0);
  CHECK(count_of(pdf, "/Type /Page %") == 1);
  LabelCase other = sample();
  other.serial = "SN-4712";
  CHECK(report::label_svg(other) != svg);  // the outlines are those of the text
}

TEST_CASE("verdict, level and an override each change the drawing") {
  std::vector<std::string> seen{report::label_svg(sample())};
  for (const auto verdict : {Verdict::reject, Verdict::hold}) {
    seen.push_back(report::label_svg([&] {
      LabelCase one = sample();
      one.verdict = verdict;
      return one;
    }()));
  }
  LabelCase one = sample();
  one.level = inspection::Level::static_;
  seen.push_back(report::label_svg(one));
  one.overridden_by = "A. Smith";
  seen.push_back(report::label_svg(one));
  std::sort(seen.begin(), seen.end());
  CHECK(std::adjacent_find(seen.begin(), seen.end()) == seen.end());
}

TEST_CASE("no letter is lost: each one more changes the drawing, until the row is full") {
  LabelCase one = sample();
  std::string before;
  for (const std::string& letters : {std::string(18, 'i'), std::string("overridden, Smith")}) {
    one.overridden_by.clear();
    for (const char c : letters) {
      one.overridden_by += c;
      const std::string now = report::label_svg(one, {100, 29});
      CHECK(now != before);
      CHECK(now.size() + 1000 > before.size());
      before = now;
    }
    before.clear();
  }
}

TEST_CASE("the same label has the same bytes, and no date of its making") {
  for (auto* const write : {&report::label_svg, &report::label_pdf}) {
    const std::string first = write(sample(), {});
    LabelCase other = sample();
    other.serial = "between";
    write(other, {});  // numbers of a process must not show
    CHECK(write(sample(), {}) == first);
    CHECK(first.find("Date") == std::string::npos);
  }
}

TEST_CASE("names from outside are harmless and fit") {
  LabelCase one = sample();
  const std::string nasty =
      "<script>alert('x')</script>\"&]]>\n\x1b[31m\u202eevil\u2066\u200f\u0085\u2028\xff\xc0\xaf" +
      std::string("\0", 1) + std::string(10000, 'W');
  one.serial = one.lot = one.profile = one.date = one.overridden_by = nasty;
  const std::string svg = report::label_svg(one), text = report::label_text(one);
  CHECK(svg.find("script") == std::string::npos);
  CHECK(svg.find('\x1b') == std::string::npos);
  CHECK(report::label_pdf(one).starts_with("%PDF-1."));
  for (const char* bad : {"\x1b", "\u202e", "\u2066", "\u200f", "\u0085", "\u2028", "\xff", "\xc0"})
    CHECK(text.find(bad) == std::string::npos);
  CHECK(text.find('\0') == std::string::npos);
  CHECK(text.find("<script>alert('x')</script>\"&]]>??[31m?evil??????") != std::string::npos);
  CHECK(count_of(text, "\u2026") == 5);
  CHECK(count_of(text, "\n") == 7);
  check_columns(text);
  // Shortened to what fits: ten thousand letters draw no more than a few tens do.
  CHECK(svg.size() < 200000);
}

TEST_CASE("characters of several bytes stay whole; empty names say so") {
  LabelCase one = sample();
  one.serial = "é", one.profile = "Ω µ 漢 🙂";
  for (int k = 0; k < 9; ++k) one.serial += one.serial;
  one.lot = "";
  const std::string text = report::label_text(one);
  CHECK(text.find("Lot            none") != std::string::npos);
  CHECK(text.find("Ω µ 漢 🙂") != std::string::npos);
  CHECK(text.find('?') == std::string::npos);
  check_columns(text);
  CHECK(report::label_svg(one).size() > 1000);
}

TEST_CASE("text tells verdict, level, all names and who overrode it") {
  LabelCase one = sample();
  one.verdict = Verdict::reject;
  one.overridden_by = "A. Smith";
  const std::string text = report::label_text(one);
  CHECK(text.starts_with("✖ REJECT (level full)\n"));
  for (const char* words :
       {"Serial         SN-4711\n", "Lot            L-2024-20\n",
        "Profile        six-speed, 20 pins\n", "Date           2024-05-17\n",
        "Record         01JDKX7Q4MZ8T5V6W7X8Y9ABCD\n", "Overridden by  A. Smith\n"})
    CHECK(text.find(words) != std::string::npos);
}

TEST_CASE("the worse of measurement and decision stands large, the other stays readable") {
  const auto decided = [](Verdict verdict, Verdict decision) {
    LabelCase one = sample();
    one.verdict = verdict, one.decided = decision, one.overridden_by = "A. Smith: decided";
    return one;
  };
  const auto rejected = decided(Verdict::accept, Verdict::reject);
  CHECK(report::label_text(rejected).starts_with("✖ REJECT (level full)\n"));
  CHECK(count_of(report::label_text(rejected), "  Measured       accept\n") == 1);
  CHECK(count_of(report::label_text(rejected), "Overridden by  A. Smith: decided\n") == 1);
  const auto held = decided(Verdict::accept, Verdict::hold);
  CHECK(report::label_text(held).starts_with("▲ HOLD (level full)\n"));
  // A decision to accept makes nothing greener.
  for (const auto verdict : {Verdict::reject, Verdict::hold}) {
    const auto one = decided(verdict, Verdict::accept);
    LabelCase before = one;
    before.decided.reset();
    CHECK(report::label_text(one) == report::label_text(before));
    CHECK(report::label_svg(one) == report::label_svg(before));
  }
  CHECK(report::label_text(decided(Verdict::reject, Verdict::hold)).starts_with("✖ REJECT"));
  // Drawn like a measured reject, and one row more.
  LabelCase plain = rejected;
  plain.verdict = Verdict::reject, plain.decided.reset();
  const std::string svg = report::label_svg(rejected);
  CHECK(count_of(svg, "<path") == count_of(report::label_svg(plain), "<path") + 1);
}

TEST_CASE("a code that scanners cannot resolve, and an id that is none, are refused") {
  LabelCase one = sample();
  one.id = std::string(64, 'a');  // 37 modules and the quiet zone: 45 x 0.33 mm = 14.85 mm
  const std::string why = refusal(one, {30, 15});
  CHECK(why.find("modules of 0.3 mm; scanners want 0.33 mm") != std::string::npos);
  CHECK(why.find("at least 33 x 15 mm") != std::string::npos);
  CHECK(refusal(one, {33, 15}) == "");
  for (const std::string& id : {std::string(), std::string("a b"), std::string("a\n"),
                                std::string("é"), std::string(65, 'A'), std::string("a\0b", 3)}) {
    one.id = id;
    CHECK(refusal(one, {}).find("1 to 64 visible ASCII characters") != std::string::npos);
  }
}
