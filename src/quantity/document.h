// A JSON document read strictly: every key must be asked for, every number has
// its allowed range, and every refusal names file, JSON pointer, the value
// found and what is allowed.
#pragma once

#include <cstddef>
#include <functional>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "quantity/quantity.h"

namespace pinproof {

class Place;

/// A parsed document. Refuses what is not JSON, duplicate keys, nesting deeper
/// than 32, text that is not UTF-8, and numbers that overflow.
class Document {
 public:
  /// Throws Error(Fault::usage): "FILE: line 3, column 7: ...".
  static Document parse(std::string_view json, std::string file);
  Document(Document&&) noexcept;
  Document& operator=(Document&&) noexcept;
  ~Document();

  Place root() const;

 private:
  struct Content;
  explicit Document(std::unique_ptr<Content> content);
  std::unique_ptr<Content> content_;
};

/// One value inside a document and where it stands. Keeps a reference into its
/// Document. For an object it remembers which keys were asked for; done()
/// refuses the others.
class Place {
 public:
  const std::string& pointer() const { return pointer_; }
  bool is_object() const;
  bool is_array() const;
  bool is_text() const;
  bool is_number() const;
  bool is_null() const;

  // Values of this place itself.
  std::string text() const;
  double number(const Interval& allowed) const;
  bool boolean() const;
  std::vector<Place> items() const;     ///< of an array
  std::vector<double> numbers() const;  ///< of an array of numbers, of any length
  std::vector<std::pair<std::string, Place>> members() const;  ///< of an object; counts as asked

  // Members of an object. Without `optional_` the key must be there.
  Place at(std::string_view key);
  std::optional<Place> optional_at(std::string_view key);
  std::string text(std::string_view key) { return at(key).text(); }
  std::string optional_text(std::string_view key);
  /// A name or words of a person: text() takes 1000 bytes at most.
  std::string long_text(std::string_view key, std::size_t at_most_bytes);
  double number(std::string_view key, const Interval& allowed) { return at(key).number(allowed); }
  std::optional<double> optional_number(std::string_view key, const Interval& allowed);
  bool optional_boolean(std::string_view key, bool otherwise);
  std::vector<std::string> optional_texts(std::string_view key);
  /// {"low": , "high": } with low <= high, both inside `allowed`.
  Interval interval(std::string_view key, const Interval& allowed);
  std::optional<Interval> optional_interval(std::string_view key, const Interval& allowed);

  /// One of a set of words; returns its index.
  std::size_t word(std::string_view key, const std::vector<std::string_view>& allowed);

  /// Refuses keys that were never asked for, naming them and the known ones.
  void done() const;

  /// Throws Error(Fault::usage): "FILE: POINTER: what".
  [[noreturn]] void refuse(const std::string& what) const;
  /// The same for the member `key`, whether it is there or not.
  [[noreturn]] void refuse(std::string_view key, const std::string& what) const;

 private:
  friend class Document;
  Place(const void* value, const std::string* file, std::string pointer)
      : value_(value), file_(file), pointer_(std::move(pointer)) {}
  std::string found() const;  // the value as shown in messages, shortened
  std::string text_up_to(std::size_t at_most_bytes) const;

  const void* value_;  // nlohmann::json, kept out of this header
  const std::string* file_;
  std::string pointer_;
  std::set<std::string, std::less<>> asked_;
};

/// Checks {"schema": wanted} first, so that a file of another kind is told as such.
void expect_schema(Place& root, std::string_view wanted);

}  // namespace pinproof
