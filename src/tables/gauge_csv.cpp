#include "tables/gauge_csv.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <map>
#include <set>
#include <utility>

#include "quantity/error.h"
#include "quantity/lines.h"
#include "quantity/text.h"

namespace pinproof::tables {
namespace {

constexpr std::size_t kMost = 1000;  // parts, operators, repeats
constexpr std::size_t kShown = 40;   // columns of a name in a message

using GaugeCells = std::vector<std::string>;

struct GaugeRow {
  std::size_t line = 0;
  GaugeCells cells;
};

struct GaugeFile {
  std::string file;
  [[noreturn]] void refuse(std::size_t line, const std::string& why) const {
    throw Error(Fault::usage, file + ": line " + std::to_string(line) + ": " + why);
  }
  [[noreturn]] void refuse(const std::string& why) const {
    throw Error(Fault::usage, file + ": " + why);
  }
};

std::string shown(const std::string& name) {
  const std::string safe = harmless(name);
  return "\"" + std::string(head(safe, kShown)) + (columns(safe) > kShown ? "...\"" : "\"");
}

template <class Names>
std::string list_of(const Names& names) {
  std::string out;
  std::size_t count = 0;
  for (const auto& name : names) {
    if (++count > 8) return out + " and more";
    out += (out.empty() ? "" : ", ") + shown(std::string(name));
  }
  return out;
}

// Reads cell after cell and knows its line.
class GaugeReader {
 public:
  GaugeReader(std::string_view text, const GaugeFile& source) : rest_(text), source_(source) {
    if (rest_.starts_with("\xEF\xBB\xBF")) rest_.remove_prefix(3);
    if (rest_.find('\0') != std::string_view::npos) source.refuse("this is not text");
  }
  bool done() const { return rest_.empty(); }
  GaugeRow row() {
    GaugeRow out{line_, {}};
    do out.cells.push_back(cell());
    while (take(','));
    take('\r');
    if (!done() && !take('\n'))
      source_.refuse(line_, "text behind a closing quote, or a line that ends in a bare return");
    ++line_;
    return out;
  }

 private:
  bool take(char c) {
    if (!rest_.starts_with(c)) return false;
    rest_.remove_prefix(1);
    return true;
  }
  void skip_blanks() {
    while (take(' ') || take('\t')) continue;
  }
  std::string cell() {
    skip_blanks();
    if (take('"')) return quoted();
    std::string out(rest_.substr(0, rest_.find_first_of(",\r\n")));
    rest_.remove_prefix(out.size());
    out.erase(out.find_last_not_of(" \t") + 1);
    return out;
  }
  std::string quoted() {
    std::string out;
    for (const std::size_t from = line_;;) {
      const auto end = rest_.find('"');
      if (end == std::string_view::npos) source_.refuse(from, "a quote that is not closed");
      out += rest_.substr(0, end);
      rest_.remove_prefix(end + 1);
      if (!take('"')) break;
      out += '"';
    }
    line_ += static_cast<std::size_t>(std::count(out.begin(), out.end(), '\n'));
    skip_blanks();
    return out;
  }

  std::string_view rest_;
  std::size_t line_ = 1;
  const GaugeFile& source_;
};

// The place of each wanted column in the header, and no other columns.
std::vector<std::size_t> places_of(const GaugeRow& header, const std::vector<std::string>& wanted,
                                   const GaugeFile& source) {
  const std::string all = "; the columns " + list_of(wanted) + " are wanted";
  std::vector<std::size_t> out(wanted.size(), header.cells.size());
  for (std::size_t k = 0; k < header.cells.size(); ++k) {
    const auto it = std::find(wanted.begin(), wanted.end(), header.cells[k]);
    if (it == wanted.end())
      source.refuse(header.line, "unknown column " + shown(header.cells[k]) + all);
    auto& place = out[static_cast<std::size_t>(it - wanted.begin())];
    if (place < k) source.refuse(header.line, "column " + shown(*it) + " stands twice");
    place = k;
  }
  for (std::size_t k = 0; k < wanted.size(); ++k)
    if (out[k] == header.cells.size())
      source.refuse(header.line, "no column " + shown(wanted[k]) + all);
  return out;
}

// Rows with their cells in the order of `wanted`; empty lines are passed over.
std::vector<GaugeRow> rows_of(std::string_view text, const std::vector<std::string>& wanted,
                              const GaugeFile& source) {
  std::vector<GaugeRow> out;
  std::vector<std::size_t> places;
  for (GaugeReader reader(text, source); !reader.done();) {
    GaugeRow row = reader.row();
    if (row.cells == GaugeCells{""}) continue;
    if (places.empty()) {
      places = places_of(row, wanted, source);
      continue;
    }
    if (row.cells.size() != wanted.size())
      source.refuse(row.line, std::to_string(row.cells.size()) + " cells; the header has " +
                                  std::to_string(wanted.size()));
    GaugeRow ordered{row.line, {}};
    for (const std::size_t place : places) ordered.cells.push_back(std::move(row.cells[place]));
    out.push_back(std::move(ordered));
  }
  if (places.empty()) source.refuse("the file is empty");
  if (out.empty()) source.refuse("no row below the header");
  return out;
}

double number_in(const GaugeRow& row, std::size_t column, const char* name,
                 const GaugeFile& source) {
  if (const auto value = parse_number(row.cells[column])) return *value;
  source.refuse(row.line, std::string(name) + " " + shown(row.cells[column]) +
                              " is no number with a decimal point; are columns swapped?");
}

std::size_t index_of(std::vector<std::string>& names, const GaugeRow& row, std::size_t column,
                     const char* what, const GaugeFile& source) {
  const std::string& name = row.cells[column];
  if (name.empty()) source.refuse(row.line, std::string("no ") + what + " is named");
  const auto at = std::find(names.begin(), names.end(), name) - names.begin();
  if (static_cast<std::size_t>(at) == names.size()) names.push_back(name);
  if (names.size() > kMost)
    source.refuse(row.line,
                  std::string("more than ") + std::to_string(kMost) + " names of a " + what);
  return static_cast<std::size_t>(at);
}

std::size_t repeat_in(const GaugeRow& row, const GaugeFile& source) {
  const double n = number_in(row, 2, "repeat", source);
  if (n < 1 || n > double(kMost) || n != double(static_cast<std::size_t>(n)))
    source.refuse(row.line, "repeat " + shown(row.cells[2]) + ": a whole number from 1 to " +
                                std::to_string(kMost) + " is wanted; are columns swapped?");
  return static_cast<std::size_t>(n) - 1;
}

struct GaugeReading {
  std::size_t line;
  double value;
};
using GaugeReadings =
    std::map<std::array<std::size_t, 3>, GaugeReading>;  // by part, operator, repeat

// Fills the cube; refuses the first hole and tells how many there are.
void fill(const GaugeReadings& readings, GaugeTable& out, const GaugeFile& source) {
  const std::size_t wanted = out.parts.size() * out.operators.size() * out.repeats;
  out.values.assign(out.parts.size(), {});
  for (std::size_t p = 0; p < out.parts.size(); ++p)
    for (std::size_t o = 0; o < out.operators.size(); ++o) {
      auto& cell = out.values[p].emplace_back();
      for (std::size_t r = 0; r < out.repeats; ++r) {
        const auto it = readings.find({p, o, r});
        if (it == readings.end())
          source.refuse("part " + shown(out.parts[p]) + ", operator " + shown(out.operators[o]) +
                        ": repeat " + std::to_string(r + 1) + " is missing; the study holds " +
                        std::to_string(readings.size()) + " of " + std::to_string(wanted) +
                        " readings");
        cell.push_back(it->second.value);
      }
    }
}

bool names_reference(std::string title) {
  std::transform(title.begin(), title.end(), title.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  return title.find("reference") != std::string::npos;
}

// "2024-05-17T08:00:00Z": such texts sort as their times do.
void check_time(const GaugeRow& row, const GaugeFile& source) {
  static constexpr std::string_view kShape = "0000-00-00T00:00:00Z";
  const std::string& text = row.cells[0];
  bool good = text.size() == kShape.size();
  for (std::size_t k = 0; good && k < text.size(); ++k)
    good = kShape[k] == '0' ? text[k] >= '0' && text[k] <= '9' : text[k] == kShape[k];
  if (!good)
    source.refuse(row.line, "at_utc " + shown(text) + ": \"2024-05-17T08:00:00Z\" or such");
}

std::string bench_of(const std::vector<GaugeRow>& rows, const std::string& asked,
                     const GaugeFile& source) {
  std::set<std::string> all;
  for (const GaugeRow& row : rows) all.insert(row.cells[1]);
  if (asked.empty() && all.size() > 1)
    source.refuse("several benches: " + list_of(all) + "; say which with --bench-name");
  if (!asked.empty() && !all.contains(asked))
    source.refuse("no bench " + shown(asked) + "; the log knows " + list_of(all));
  return asked.empty() ? *all.begin() : asked;
}

}  // namespace

GaugeTable parse_gauge_csv(std::string_view text, const std::string& file) {
  const GaugeFile source{file};
  GaugeTable out;
  GaugeReadings readings;
  for (const GaugeRow& row : rows_of(text, {"part", "operator", "repeat", "value"}, source)) {
    const std::size_t repeat = repeat_in(row, source);
    const double value = number_in(row, 3, "value", source);
    const std::array key{index_of(out.parts, row, 0, "part", source),
                         index_of(out.operators, row, 1, "operator", source), repeat};
    const auto [it, fresh] = readings.try_emplace(key, GaugeReading{row.line, value});
    if (!fresh)
      source.refuse(row.line, "part " + shown(row.cells[0]) + ", operator " + shown(row.cells[1]) +
                                  ", repeat " + std::to_string(repeat + 1) + " stands in line " +
                                  std::to_string(it->second.line) + " too");
    out.repeats = std::max(out.repeats, repeat + 1);
  }
  if (out.parts.size() < 2 || out.operators.size() < 2 || out.repeats < 2)
    source.refuse("parts: " + std::to_string(out.parts.size()) +
                  ", operators: " + std::to_string(out.operators.size()) + ", repeats: " +
                  std::to_string(out.repeats) + "; a study needs two of each at least");
  fill(readings, out, source);
  return out;
}

ReferenceLog parse_reference_log(std::string_view text, const std::string& file,
                                 const std::string& bench) {
  const GaugeFile source{file};
  auto rows = rows_of(text, {"at_utc", "bench", "check", "outcome", "value_ohm", "U_ohm"}, source);
  ReferenceLog out;
  out.bench = bench_of(rows, bench, source);
  for (const GaugeRow& row : rows) check_time(row, source);
  std::stable_sort(rows.begin(), rows.end(),
                   [](const GaugeRow& a, const GaugeRow& b) { return a.cells[0] < b.cells[0]; });
  for (const GaugeRow& row : rows) {
    if (row.cells[1] != out.bench || !names_reference(row.cells[2])) continue;
    if (out.check.empty()) out.check = row.cells[2];
    if (row.cells[2] != out.check) continue;
    if (row.cells[4].empty()) {
      ++out.without_value;
      continue;
    }
    const double U = number_in(row, 5, "U_ohm", source);
    if (U < 0) source.refuse(row.line, "U_ohm below 0");
    out.readings.push_back({number_in(row, 4, "value_ohm", source), U});
    out.at.push_back(row.cells[0]);
  }
  if (out.readings.empty())
    source.refuse("no reading of a check with \"reference\" in its title for bench " +
                  shown(out.bench));
  return out;
}

}  // namespace pinproof::tables
