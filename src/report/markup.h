// Text that is fit for one language (HTML, CSS, addresses) as a type of its own. A std::string is
// plain text, whoever wrote it; it becomes Markup by escape() only, and joining the two does not
// compile. So what comes from outside cannot be written into a page unescaped by forgetting it.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace pinproof::report {

/// A literal in our sources, which says what it means to say in any language. Made while compiling,
/// so nothing that the program was given can be in it.
class Literal {
 public:
  template <std::size_t N>
  consteval Literal(const char (&text)[N]) : text_(text) {}  // implicit: "<p>" + plain(name)
  constexpr std::string_view text() const { return text_; }

 private:
  consteval explicit Literal(std::string_view text) : text_(text) {}
  friend consteval Literal operator""_html(const char* text, std::size_t size);
  std::string_view text_;
};

/// For literals that stand where the compiler must be told: cond ? "<b>"_html : ""_html.
consteval Literal operator""_html(const char* text, std::size_t size) {
  return Literal(std::string_view(text, size));
}

/// Made from our literals, from plain text by what escapes it for this language, and by joining.
template <class Language>
class Fit {
 public:
  Fit() = default;
  Fit(Literal ours) : text_(ours.text()) {}  // implicit: a literal is fit as it stands

  const std::string& text() const { return text_; }
  bool empty() const { return text_.empty(); }

  Fit& operator+=(const Fit& more) {
    text_ += more.text_;
    return *this;
  }
  Fit& operator+=(Literal more) {
    text_ += more.text();
    return *this;
  }
  friend Fit operator+(Fit a, const Fit& b) {
    a += b;
    return a;
  }
  friend Fit operator+(Fit a, Literal b) {
    a += b;
    return a;
  }
  friend Fit operator+(Literal a, const Fit& b) {
    Fit out(a);
    out += b;
    return out;
  }
  friend bool operator==(const Fit&, const Fit&) = default;

 private:
  friend struct Escaper;  // in markup.cpp, where all that escapes stands
  struct Escaped {
    std::string text;
  };
  explicit Fit(Escaped escaped) : text_(std::move(escaped.text)) {}
  std::string text_;
};

using Markup = Fit<struct Html>;  ///< content, or what stands between the quotes of an attribute
using Css = Fit<struct StyleSheet>;
using Url = Fit<struct Address>;  ///< an address on this server: path and query

/// Text for HTML, in an attribute too; control characters become spaces.
Markup escape(std::string_view text);
/// The same for text of several lines: their ends stay.
Markup escape_lines(std::string_view text);
Markup digits(std::size_t count);

/// For a query or a path (RFC 3986: unreserved characters stay).
Url url_text(std::string_view text);

/// A string of CSS in its quotes: letters, digits and what cannot end a text or an element; all
/// else by its number (CSS Syntax, 4.3.7).
Css css_string(std::string_view text);

/// ` name="value"`, with the value escaped.
Markup attribute(Literal name, std::string_view value);
/// ` name="12.3"`, see coordinate().
Markup attribute(Literal name, double value);
/// ` href="..."`: the only way of an address into a page.
Markup href(const Url& to);

/// A coordinate: fixed decimals, 0 for what is not a number.
Markup coordinate(double value);

}  // namespace pinproof::report
