// Capture files that must be refused, and how the refusal reads.
#include <doctest/doctest.h>

#include <cstdio>
#include <string>

#include "quantity/error.h"
#include "tables/capture_csv.h"
#include "tables/csv_table.h"

using namespace pinproof::waveform;

namespace {

// Rows "k * 1e-5, 0.5, 12" from line 2 on; `line` replaced by `text`.
std::string table(std::size_t line = 0, const std::string& text = "", std::size_t rows = 100) {
  std::string out = "time_s,current_A,voltage_V\n";
  for (std::size_t k = 0; k < rows; ++k) {
    char row[64];
    std::snprintf(row, sizeof row, "%.5f,0.5,12\n", 1e-5 * static_cast<double>(k));
    out += k + 2 == line ? text : row;
  }
  return out;
}

std::string refusal(const std::string& text, pinproof::tables::CsvOptions options = {}) {
  options.file = "scope.csv";
  try {
    pinproof::tables::read_capture_csv(text, options);
  } catch (const pinproof::Error& e) {
    CHECK(e.fault() == pinproof::Fault::usage);
    return e.what();
  }
  return "was read";
}

void check_says(const std::string& found, std::initializer_list<const char*> parts) {
  CHECK_MESSAGE(found.starts_with("scope.csv: "), found);
  for (const char* part : parts)
    CHECK_MESSAGE(found.find(part) != std::string::npos, found, " lacks ", part);
}

pinproof::tables::CsvOptions columns(const char* text) {
  pinproof::tables::CsvOptions options;
  pinproof::tables::take_columns(text, options);
  return options;
}

}  // namespace

TEST_CASE("the table these are made from is read") { CHECK(refusal(table()) == "was read"); }

TEST_CASE("cells that are no finite numbers") {
  for (const char* bad : {"nan", "NaN", "inf", "-inf", "1.2.3", "0x10", "12V", "", "--", "1,5"}) {
    CAPTURE(bad);
    const std::string row = std::string("0.00020,") + bad + ",12\n";
    const std::string found = refusal(table(22, row));
    if (std::string(bad) == "1,5")
      check_says(found, {"line 22: 4 cells", "3"});
    else
      check_says(found,
                 {"line 22, column 2 \"current_A\"",
                  std::string("found \"" + std::string(bad) + "\"").c_str(), "finite number"});
  }
  check_says(refusal(table(22, "0.00020,0.5,1e999\n")), {"line 22, column 3", "\"1e999\""});
}

TEST_CASE("ragged rows, mixed delimiters, a file cut off") {
  check_says(refusal(table(50, "0.00048,0.5\n")), {"line 50: 2 cells", "3"});
  check_says(refusal(table(50, "0.00048,0.5,12,7\n")), {"line 50: 4 cells"});
  check_says(refusal(table(50, "0.00048;0.5;12\n")), {"line 50: 1 cell ", "','"});
  check_says(refusal(table(101, "0.00099,0.")), {"line 101: 2 cells", "cut off in its last line"});
  check_says(refusal(table(101, "0.00099,0.5,")), {"line 101, column 3", "found \"\""});
}

TEST_CASE("times that do not rise evenly") {
  check_says(refusal(table(50, "0.00047,0.5,12\n")),
             {"line 50: time 0.00047 s after 0.00047 s", "must rise"});
  check_says(refusal(table(50, "0.00010,0.5,12\n")), {"line 50", "must rise"});
  check_says(refusal(table(50, "")), {"line 50: time", "steps may differ by 1 %", "missing"});
  check_says(refusal(table(50, "0.000482,0.5,12\n")),
             {"line 50: time 0.000482 s", "steps may differ by 1 %"});
  // An empty line above shifts no line number.
  check_says(refusal(table(50, "\n")), {"line 51: time"});
}

TEST_CASE("a missing sample is seen although the times are printed coarsely") {
  std::string text = "time_s,current_A\n";
  for (int k = 0; k < 400; ++k) {
    char row[64];
    std::snprintf(row, sizeof row, "%.6f,0.5\n", 2.5e-6 * (k < 200 ? k : k + 1));
    text += row;
  }
  check_says(refusal(text), {"line 202: time", "missing"});
}

TEST_CASE("too few rows") {
  check_says(refusal(table(0, "", 19)), {"19 rows", "at least 20"});
  CHECK(refusal(table(0, "", 20)) == "was read");
  pinproof::tables::CsvOptions options;
  options.fewest_rows = 200;
  check_says(refusal(table(), options), {"100 rows", "at least 200"});
}

TEST_CASE("no such column, or one that does not fit") {
  check_says(refusal(table(), columns("current=probe")),
             {"no column \"probe\" for current", "2 \"current_A\""});
  check_says(refusal(table(), columns("current=4")), {"no column \"4\""});
  check_says(refusal(table(), columns("current=0")), {"no column \"0\""});
  check_says(refusal(table(), columns("current=1")), {"column 1 for current is taken already"});
  check_says(refusal(table(), columns("current=voltage_V,voltage=2")),
             {"\"voltage_V\" is in V where current in A is wanted", "--shunt-ohm"});
  const auto renamed = [](const char* header) {
    std::string text = table();
    return text.replace(0, text.find('\n'), header);
  };
  check_says(refusal(renamed("time_s,CH1,CH2")),
             {"no column for current", "2 \"CH1\"", "--columns current=NAME"});
  check_says(refusal(renamed("k,current_A,voltage_V")), {"no column for time"});
  check_says(refusal(renamed("time_s,CH1 [A],CH2 [A]")),
             {"\"CH1 [A]\" and \"CH2 [A]\" could both be the current"});
  check_says(refusal(table().substr(table().find('\n') + 1)),
             {"no column for time", "1 (no name)"});
}

TEST_CASE("a shunt needs a resistance and a column of volts") {
  pinproof::tables::CsvOptions options;
  options.shunt_ohm = 0.1;
  options.current = "current_A";
  check_says(refusal(table(), options), {"\"current_A\" is in A where current in V is wanted"});
  for (const double ohm : {0.0, -1.0}) {
    options.shunt_ohm = ohm;
    check_says(refusal(table(), options), {"a shunt of", "more than 0"});
  }
}

TEST_CASE("what is no table at all") {
  check_says(refusal(""), {"the file is empty"});
  check_says(refusal("hello\nworld\n"),
             {"no table of numbers", "\"hello\"", "comma, semicolon or tab"});
  check_says(refusal("1\n2\n3\n4\n"), {"no table of numbers"});
  check_says(refusal(std::string("\xFF\xFEt\0", 4)), {"UTF-16"});
  check_says(refusal(std::string("PK\3\4\0\0\0\0", 8)), {"not text"});
}

TEST_CASE("the --columns text") {
  pinproof::tables::CsvOptions options;
  for (const char* bad : {"time", "time=", "=3", "volts=3", "time=1,,current=2", "current=\"a",
                          "time=1;current=2;"}) {
    CAPTURE(bad);
    if (std::string(bad) == "time=1;current=2;") {
      pinproof::tables::take_columns(bad, options);  // a name may hold anything but a comma
      CHECK(options.time == "1;current=2;");
      continue;
    }
    CHECK_THROWS_WITH_AS(pinproof::tables::take_columns(bad, options),
                         doctest::Contains("--columns: found"), pinproof::Error);
  }
}

TEST_CASE("cells and their last digit") {
  CHECK(*pinproof::tables::cell_number("+1.5", '.') == 1.5);
  CHECK(*pinproof::tables::cell_number("-1,5e-3", ',') == -1.5e-3);
  CHECK_FALSE(pinproof::tables::cell_number("1.5", ','));
  CHECK_FALSE(pinproof::tables::cell_number("1,5", '.'));
  CHECK_FALSE(pinproof::tables::cell_number("+-1", '.'));
  CHECK_FALSE(pinproof::tables::cell_number("+", '.'));
  CHECK_FALSE(pinproof::tables::cell_number("1 ", '.'));
  CHECK(pinproof::tables::last_digit_power("0.00120") == -5);
  CHECK(pinproof::tables::last_digit_power("12") == 0);
  CHECK(pinproof::tables::last_digit_power("1.20e-04") == -6);
  CHECK(pinproof::tables::last_digit_power("1,2E+03") == 2);
}
