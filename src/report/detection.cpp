#include "report/detection.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "quantity/lines.h"
#include "quantity/phrase.h"
#include "quantity/text.h"

namespace pinproof::report {
namespace {

using inspection::Detection;
using inspection::Doubt;
using Json = nlohmann::ordered_json;

constexpr int kDigits = 3;

// Rounded so that what is printed is promised: a limit never moves towards the smaller fault.
std::string size_text(const Detection& one) {
  const double size = std::abs(one.size);
  if (size == 0) return format_si(0, one.unit, kDigits);
  const double digit = std::pow(10.0, std::floor(std::log10(size)) - kDigits + 1);
  const bool up = one.size < 0 || !one.below;
  const double steps = size / digit, whole = std::round(steps);
  const bool even = std::abs(steps - whole) < 1e-6;
  const double shown = (even ? whole : up ? std::ceil(steps) : std::floor(steps)) * digit;
  return format_si(one.size < 0 ? -shown : shown, one.unit, kDigits);
}

std::string fault_text(const Detection& one) {
  std::string out = one.fault;
  if (one.sized) out += " of " + size_text(one) + (one.below ? " or less" : " or more");
  if (one.by_chance) out += ", if it comes while it is measured";
  return out + (one.full ? " (level full; " : " (") + one.by + ")";
}

// "coil" and "A".
std::pair<std::string, std::string> parted(const std::string& part) {
  const auto space = part.find(' ');
  if (space == std::string::npos) return {part, ""};
  return {part.substr(0, space), part.substr(space + 1)};
}

struct DetectionLine {
  std::string kind, text;
  std::vector<std::string> names;
  std::size_t pairs = 0;  // of pins, or rows of them
};

// Parts of a kind with the same text are one line, in the order in which they came.
void add(std::vector<DetectionLine>& lines, const std::string& part, const std::string& text,
         bool pair) {
  const auto [kind, name] = parted(part);
  auto at = std::find_if(lines.begin(), lines.end(), [&, &k = kind](const DetectionLine& line) {
    return line.kind == k && line.text == text && (line.pairs > 0) == pair;
  });
  if (at == lines.end()) at = lines.insert(lines.end(), {kind, text, {}, 0});
  if (pair) ++at->pairs;
  if (!name.empty()) at->names.push_back(name);
}

std::string of(const DetectionLine& line) {
  if (line.kind == "pack")
    return line.pairs > 0 ? std::to_string(line.pairs) + " rows of pins" : "pack";
  if (line.pairs > 0) return counted(line.pairs, "pair") + " of pins";
  const char* many = line.names.size() == 1 ? "" : line.kind == "switch" ? "es" : "s";
  std::string out = line.kind + many;
  for (std::size_t k = 0; k < line.names.size(); ++k) out += (k == 0 ? " " : ", ") + line.names[k];
  return out;
}

void print(std::string& out, const std::vector<DetectionLine>& lines) {
  for (const DetectionLine& line : lines) wrap(out, "  - ", of(line) + ": " + line.text);
}

// "leak B" of pin A: the pairs are counted, JSON names them.
bool is_pair(const Doubt& one) {
  return (one.part.starts_with("pin ") || one.part == "pack") &&
         one.fault.find(' ') != std::string::npos;
}

}  // namespace

std::string detection_text(const inspection::DetectionLimits& limits, const std::string& level,
                           const std::string& bench) {
  std::string out = "\n";
  wrap(out, "", "What an inspection is sure to notice (level " + level + ", " + bench + ")");
  std::vector<DetectionLine> sure, doubts;
  for (const Detection& one : limits.sure) add(sure, one.part, fault_text(one), !one.other.empty());
  print(out, sure);
  for (const Doubt& one : limits.not_sure) {
    const std::string fault = is_pair(one) ? one.fault.substr(0, one.fault.find(' ')) : one.fault;
    add(doubts, one.part, fault + ": " + one.why, is_pair(one));
  }
  if (!doubts.empty()) out += "\nNot sure, and why\n";
  print(out, doubts);
  return out;
}

std::string with_detection(const std::string& coverage_json,
                           const inspection::DetectionLimits& limits, const std::string& level) {
  Json out = Json::parse(coverage_json), sure = Json::array(), doubts = Json::array();
  for (const Detection& one : limits.sure) {
    Json row{{"part", one.part}, {"fault", one.fault}};
    if (!one.other.empty()) row["other"] = one.other;
    if (one.sized) {
      row["size"] = one.size;
      row["unit"] = file_name(one.unit);
      row["at"] = one.below ? "or-less" : "or-more";
    }
    row["level"] = one.full ? "full" : "static";
    row["by_chance"] = one.by_chance;
    row["by"] = one.by;
    sure.push_back(std::move(row));
  }
  for (const Doubt& one : limits.not_sure)
    doubts.push_back({{"part", one.part}, {"fault", one.fault}, {"why", one.why}});
  out["level"] = level;
  out["detection"] = std::move(sure);
  out["not_sure"] = std::move(doubts);
  return out.dump(2) + "\n";
}

}  // namespace pinproof::report
