// Reading dialect files: inheritance, strictness, and what may be taken away.
#include <algorithm>
#include <cctype>
#include <filesystem>

#include "quantity/document.h"
#include "quantity/error.h"
#include "quantity/file.h"
#include "scpi/dialect.h"

namespace pinproof::scpi {
namespace {

constexpr std::size_t kLargestFile = std::size_t{1} << 20;
constexpr int kDeepest = 4;  // of inheritance; a circle would never end

std::string folder_of(const std::string& file) {
  return std::filesystem::path(file).parent_path().string();
}

std::string line_end(Place& place, std::string_view key, const std::string& otherwise) {
  const std::string word = place.optional_text(key);
  if (word.empty()) return otherwise;
  if (word == "LF") return "\n";
  if (word == "CR LF") return "\r\n";
  if (word == "LF CR") return "\n\r";
  if (word == "CR") return "\r";
  place.refuse(key, "\"" + word + "\" is not a line end; LF, CR LF, LF CR and CR are");
}

// "{row}!{column}", "1{row}{column:2}", "{row}({column})", "{sum}".
void expect_channel(const Place& place, std::string_view text) {
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] != '{') {
      if (std::isalnum(static_cast<unsigned char>(text[i])) == 0 &&
          std::string_view("!()._-").find(text[i]) == std::string_view::npos)
        place.refuse("\"" + std::string(1, text[i]) + "\" cannot stand in a channel");
      continue;
    }
    const auto close = text.find('}', i);
    if (close == std::string_view::npos) place.refuse("a brace is left open");
    const std::string_view token = text.substr(i + 1, close - i - 1);
    const std::string_view name = token.substr(0, token.find(':'));
    const std::string_view width =
        name.size() == token.size() ? "1" : token.substr(name.size() + 1);
    if (name != "row" && name != "column" && name != "sum")
      place.refuse("{" + std::string(token) + "}: only {row}, {column} and {sum} are known here");
    if (width.size() != 1 || width[0] < '1' || width[0] > '9')
      place.refuse("{" + std::string(token) + "}: a width of 1 to 9 is wanted after the colon");
    i = close;
  }
}

metrology::AccuracyEntry load_entry(Place place, const std::string& source) {
  metrology::AccuracyEntry out;
  out.function = place.text("function");
  out.range = place.number("range", {1e-9, 1e12});
  out.over = place.optional_number("over", {1, 2}).value_or(1.0);
  out.reading_ppm = place.number("reading_ppm", {0, 1e6});
  out.range_ppm = place.number("range_ppm", {0, 1e6});
  out.resolution = place.optional_number("resolution", {0, 1e9}).value_or(0);
  out.two_wire_add_ohm = place.optional_number("two_wire_add_ohm", {0, 10}).value_or(0);
  out.test_current_A = place.optional_number("test_current_A", {1e-12, 10}).value_or(0);
  out.source = source;
  place.done();
  return out;
}

// A table of its own, since several dialects can share one: "accuracy/NAME.json".
metrology::AccuracyTable load_accuracy(const std::string& path) {
  const Document document = Document::parse(read_file(path, kLargestFile), path);
  Place root = document.root();
  expect_schema(root, "pinproof/accuracy/1");
  const std::string source = root.text("source");
  metrology::AccuracyTable out;
  for (const Place& item : root.at("entries").items()) out.push_back(load_entry(item, source));
  root.done();
  return out;
}

}  // namespace

void Dialect::load_head(Place& root, const std::string& file, int depth) {
  if (const std::string parent = root.optional_text("inherits"); !parent.empty()) {
    if (depth >= kDeepest)
      root.refuse("inherits", "more than " + std::to_string(kDeepest) + " deep, or a circle");
    const std::string path = folder_of(file) + "/" + parent + ".json";
    if (parent.find('/') != std::string::npos)
      root.refuse("inherits", "a name, not a path, is wanted");
    *this = parse(read_file(path, kLargestFile), path, depth + 1);
    identity_like_.clear();
    identity_example_.clear();
  }
  name_ = root.text("name");
  const std::string role = root.optional_text("role");
  if (!role.empty() && !role_.empty() && role != role_)
    root.refuse("role", "\"" + role + "\" differs from the inherited \"" + role_ + "\"");
  if (!role.empty()) role_ = role;
  if (role_.empty()) root.refuse("role", "is missing");
  if (auto identity = root.optional_at("identity")) {
    identity_like_ = identity->optional_texts("like");
    identity_example_ = identity->text("example");
    if (identity_like_.empty()) identity->refuse("like", "at least one pattern is wanted");
    if (!fits(identity_example_)) identity->refuse("example", "fits none of the patterns");
    identity->done();
  }
}

void Dialect::load_wire(Place place) {
  wire_.line_end = line_end(place, "line_end", wire_.line_end);
  wire_.reply_end = line_end(place, "reply_end", wire_.reply_end);
  wire_.timeout_s = place.optional_number("timeout_s", {0.05, 600}).value_or(wire_.timeout_s);
  wire_.gap_s = place.optional_number("gap_s", {0, 5}).value_or(wire_.gap_s);
  wire_.compound = place.optional_boolean("compound", wire_.compound);
  if (place.optional_at("complete")) {
    const auto word = place.word("complete", {"query", "status", "none"});
    wire_.complete = static_cast<WireHabits::Complete>(word);
  }
  place.done();
}

void Dialect::load_commands(Place& root) {
  auto commands = commands_ ? std::make_shared<Commands>(*commands_) : std::make_shared<Commands>();
  for (auto& [operation, place] : root.at("commands").members()) {
    if (place.is_null()) {
      if (commands->erase(operation) == 0)
        place.refuse("takes away an operation that was not inherited");
    } else {
      commands->insert_or_assign(operation, Pattern::parse(place, place.text()));
    }
  }
  commands_ = std::move(commands);
}

Dialect Dialect::parse(std::string_view json, const std::string& file, int depth) {
  const Document document = Document::parse(json, file);
  Place root = document.root();
  expect_schema(root, "pinproof/dialect/1");
  Dialect out;
  out.load_head(root, file, depth);
  (void)root.optional_text("source");  // for people: where the commands come from
  if (auto wire = root.optional_at("wire")) out.load_wire(*std::move(wire));
  if (auto numbers = root.optional_at("numbers")) {
    out.numbers_.overload_at = numbers->number("overload_at", {1e6, 1e38});
    numbers->done();
  }
  if (const auto steps = root.optional_at("nplc_steps")) out.nplc_steps_ = steps->numbers();
  if (const auto channel = root.optional_at("channel")) {
    out.channel_ = channel->text();
    expect_channel(*channel, out.channel_);
  }
  if (const std::string done = root.optional_text("sweep_done"); !done.empty())
    out.sweep_done_ = done;
  if (const std::string table = root.optional_text("accuracy"); !table.empty()) {
    if (table.find('/') != std::string::npos)
      root.refuse("accuracy", "a name, not a path, is wanted");
    out.accuracy_ = load_accuracy(folder_of(file) + "/accuracy/" + table + ".json");
  }
  out.load_commands(root);
  root.done();
  return out;
}

Dialect Dialect::parse(std::string_view json, const std::string& file) {
  return parse(json, file, 0);
}

Dialect Dialect::load(const std::string& path) {
  return parse(read_file(path, kLargestFile), path);
}

std::vector<Dialect> load_dialects(const std::string& folder) {
  std::vector<std::string> paths;
  for (const auto& entry : std::filesystem::directory_iterator(folder))
    if (entry.path().extension() == ".json") paths.push_back(entry.path().string());
  std::sort(paths.begin(), paths.end());
  std::vector<Dialect> out;
  for (const std::string& path : paths) out.push_back(Dialect::load(path));
  return out;
}

}  // namespace pinproof::scpi
