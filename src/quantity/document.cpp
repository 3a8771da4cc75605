#include "quantity/document.h"

#include <algorithm>
#include <fstream>
#include <nlohmann/json.hpp>

#include "quantity/error.h"
#include "quantity/phrase.h"
#include "quantity/text.h"

namespace pinproof {
namespace {

using SortedJson = nlohmann::json;

constexpr int kDeepest = 32;

const SortedJson& json(const void* value) { return *static_cast<const SortedJson*>(value); }

std::string escape_pointer(std::string_view key) {
  std::string out;
  for (const char c : key) {
    if (c == '~')
      out += "~0";
    else if (c == '/')
      out += "~1";
    else
      out += c;
  }
  return out;
}

// Builds the value and refuses what JSON leaves open: duplicate keys and depth.
class Strict {
 public:
  explicit Strict(const std::string& file) : file_(file) {}

  bool operator()(int depth, SortedJson::parse_event_t event, SortedJson& parsed) {
    if (depth > kDeepest)
      throw Error(Fault::usage,
                  file_ + ": nested deeper than " + std::to_string(kDeepest) + " levels");
    if (event == SortedJson::parse_event_t::object_start) keys_.emplace_back();
    if (event == SortedJson::parse_event_t::object_end) keys_.pop_back();
    if (event == SortedJson::parse_event_t::key &&
        !keys_.back().insert(parsed.get<std::string>()).second)
      throw Error(Fault::usage, file_ + ": key \"" + parsed.get<std::string>() +
                                    "\" stands twice in one object; once is allowed");
    return true;
  }

 private:
  const std::string& file_;
  std::vector<std::set<std::string>> keys_;
};

std::string without_prefix(std::string_view what) {
  // nlohmann puts "[json.exception.parse_error.101] parse error " in front.
  const auto at = what.find("] ");
  return std::string(at == std::string_view::npos ? what : what.substr(at + 2));
}

std::string range_text(const Interval& allowed) {
  return exact(allowed.low) + " to " + exact(allowed.high);
}

}  // namespace

struct Document::Content {
  std::string file;
  SortedJson value;
};

Document::Document(std::unique_ptr<Content> content) : content_(std::move(content)) {}
Document::Document(Document&&) noexcept = default;
Document& Document::operator=(Document&&) noexcept = default;
Document::~Document() = default;

Document Document::parse(std::string_view text, std::string file) {
  auto content = std::make_unique<Content>();
  content->file = std::move(file);
  Strict strict(content->file);
  try {
    content->value = SortedJson::parse(text, std::ref(strict));
  } catch (const SortedJson::exception& e) {
    throw Error(Fault::usage, content->file + ": not JSON: " + without_prefix(e.what()));
  }
  return Document(std::move(content));
}

Place Document::root() const { return {&content_->value, &content_->file, ""}; }

bool Place::is_object() const { return json(value_).is_object(); }
bool Place::is_array() const { return json(value_).is_array(); }
bool Place::is_text() const { return json(value_).is_string(); }
bool Place::is_number() const { return json(value_).is_number(); }
bool Place::is_null() const { return json(value_).is_null(); }

std::string Place::found() const {
  std::string text = json(value_).dump(-1, ' ', false, SortedJson::error_handler_t::replace);
  if (text.size() > 60) text = text.substr(0, 57) + "...";
  return text;
}

void Place::refuse(const std::string& what) const {
  throw Error(Fault::usage, *file_ + ": " + (pointer_.empty() ? "(top)" : pointer_) + ": " + what);
}

void Place::refuse(std::string_view key, const std::string& what) const {
  throw Error(Fault::usage, *file_ + ": " + pointer_ + "/" + escape_pointer(key) + ": " + what);
}

std::string Place::text_up_to(std::size_t at_most_bytes) const {
  if (!json(value_).is_string()) refuse("found " + found() + "; a text is wanted");
  auto text = json(value_).get<std::string>();
  if (text.size() > at_most_bytes)
    refuse("a text of " + std::to_string(text.size()) + " bytes; at most " +
           std::to_string(at_most_bytes) + " are allowed");
  return text;
}

std::string Place::text() const { return text_up_to(1000); }

std::string Place::long_text(std::string_view key, std::size_t at_most_bytes) {
  return at(key).text_up_to(at_most_bytes);
}

double Place::number(const Interval& allowed) const {
  if (!json(value_).is_number())
    refuse("found " + found() + "; a number from " + range_text(allowed) + " is wanted");
  const double value = json(value_).get<double>();
  if (!(value >= allowed.low && value <= allowed.high))
    refuse("found " + found() + "; allowed is " + range_text(allowed));
  return value;
}

bool Place::boolean() const {
  if (!json(value_).is_boolean()) refuse("found " + found() + "; true or false is wanted");
  return json(value_).get<bool>();
}

std::vector<Place> Place::items() const {
  if (!json(value_).is_array()) refuse("found " + found() + "; a list [...] is wanted");
  if (json(value_).size() > 10000)
    refuse("a list of " + std::to_string(json(value_).size()) + "; at most 10000 are allowed");
  std::vector<Place> out;
  std::size_t index = 0;
  for (const SortedJson& item : json(value_))
    out.push_back(Place{&item, file_, pointer_ + "/" + std::to_string(index++)});
  return out;
}

std::vector<double> Place::numbers() const {
  if (!json(value_).is_array()) refuse("found " + found() + "; a list [...] is wanted");
  std::vector<double> out;
  out.reserve(json(value_).size());
  for (const SortedJson& item : json(value_)) {
    if (!item.is_number()) refuse("entry " + std::to_string(out.size()) + " is not a number");
    out.push_back(item.get<double>());
  }
  return out;
}

std::vector<std::pair<std::string, Place>> Place::members() const {
  if (!json(value_).is_object()) refuse("found " + found() + "; an object {...} is wanted");
  std::vector<std::pair<std::string, Place>> out;
  for (const auto& [key, item] : json(value_).items())
    out.emplace_back(key, Place{&item, file_, pointer_ + "/" + escape_pointer(key)});
  return out;
}

std::optional<Place> Place::optional_at(std::string_view key) {
  if (!json(value_).is_object()) refuse("found " + found() + "; an object {...} is wanted");
  asked_.emplace(key);
  const auto it = json(value_).find(key);
  if (it == json(value_).end()) return std::nullopt;
  return Place{&*it, file_, pointer_ + "/" + escape_pointer(key)};
}

Place Place::at(std::string_view key) {
  if (auto place = optional_at(key)) return *std::move(place);
  refuse(key, "missing; it is required");
}

std::string Place::optional_text(std::string_view key) {
  const auto place = optional_at(key);
  return place ? place->text() : std::string{};
}

std::optional<double> Place::optional_number(std::string_view key, const Interval& allowed) {
  const auto place = optional_at(key);
  if (!place) return std::nullopt;
  return place->number(allowed);
}

bool Place::optional_boolean(std::string_view key, bool otherwise) {
  const auto place = optional_at(key);
  return place ? place->boolean() : otherwise;
}

std::vector<std::string> Place::optional_texts(std::string_view key) {
  std::vector<std::string> out;
  if (const auto place = optional_at(key))
    for (const Place& item : place->items()) out.push_back(item.text());
  return out;
}

Interval Place::interval(std::string_view key, const Interval& allowed) {
  Place place = at(key);
  if (!place.is_object())
    place.refuse("found " + place.found() + "; {\"low\": ..., \"high\": ...} is wanted");
  const Interval out{place.number("low", allowed), place.number("high", allowed)};
  if (!(out.low <= out.high))
    place.refuse("low " + exact(out.low) + " is above high " + exact(out.high) +
                 "; low <= high is required");
  place.done();
  return out;
}

std::optional<Interval> Place::optional_interval(std::string_view key, const Interval& allowed) {
  if (!optional_at(key)) return std::nullopt;
  return interval(key, allowed);
}

std::size_t Place::word(std::string_view key, const std::vector<std::string_view>& allowed) {
  const Place place = at(key);
  const std::string found_text = place.text();
  const auto it = std::find(allowed.begin(), allowed.end(), found_text);
  if (it == allowed.end())
    place.refuse("found \"" + found_text + "\"; allowed are " + joined(allowed));
  return static_cast<std::size_t>(it - allowed.begin());
}

void Place::done() const {
  if (!json(value_).is_object()) return;
  for (const auto& [key, item] : json(value_).items())
    if (!asked_.contains(key)) refuse(key, "unknown key; known here are " + joined(asked_));
}

void expect_schema(Place& root, std::string_view wanted) {
  if (!root.is_object())
    root.refuse("an object {...} with \"schema\": \"" + std::string(wanted) + "\" is wanted");
  const Place place = root.at("schema");
  if (const std::string found = place.text(); found != wanted)
    place.refuse("found \"" + found + "\"; \"" + std::string(wanted) + "\" is wanted");
}

}  // namespace pinproof
