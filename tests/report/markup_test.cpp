// Markup and plain text are two types: what is here refused by the compiler would be a name from
// outside written into a page as it stands.
#include "report/markup.h"

#include <doctest/doctest.h>

#include <string>
#include <string_view>
#include <type_traits>

#include "report/page.h"

using namespace pinproof;
using report::Css;
using report::Literal;
using report::Markup;
using report::Url;
using report::operator""_html;

namespace {

template <class A, class B>
concept Joins = requires(A a, B b) {
  a + b;
};
template <class A, class B>
concept Appends = requires(A a, B b) {
  a += b;
};
template <class A, class B>
concept Assigns = requires(A a, B b) {
  a = b;
};
template <class Body>
concept Documents = requires(Body body) {
  report::document("title", Css(), body);
};
template <class Address>
concept Leads = requires(Address to) {
  report::href(to);
};

template <class Language, class Foreign>
constexpr bool kKeptApart =
    !std::is_convertible_v<Foreign, Language> && !std::is_constructible_v<Language, Foreign> &&
    !Joins<Language, Foreign> && !Joins<Foreign, Language> && !Appends<Language, Foreign> &&
    !Assigns<Language, Foreign>;

// Plain text, however it is held, is no markup, no style and no address.
template <class Language>
constexpr bool kTakesNoText = kKeptApart<Language, std::string>&&
    kKeptApart<Language, std::string_view>&& kKeptApart<Language, const char*>&&
        kKeptApart<Language, char>&& kKeptApart<Language, const std::string&>;
static_assert(kTakesNoText<Markup> && kTakesNoText<Css> && kTakesNoText<Url>);
static_assert(!std::is_constructible_v<Literal, std::string> &&
              !std::is_constructible_v<Literal, std::string_view> &&
              !std::is_constructible_v<Literal, const char*>);

// Nor does one language pass for another, or markup for plain text, which would be escaped twice.
static_assert(kKeptApart<Markup, Css> && kKeptApart<Markup, Url> && kKeptApart<Css, Markup> &&
              kKeptApart<Css, Url> && kKeptApart<Url, Markup>);
static_assert(!std::is_convertible_v<Markup, std::string> &&
              !std::is_convertible_v<Markup, std::string_view>);
static_assert(!Documents<std::string> && !Documents<const char*> && Documents<Markup>);
static_assert(!Leads<std::string> && !Leads<const char*> && !Leads<Markup> && Leads<Url>);

// What is right does compile: the tests above do not hold for want of operators.
static_assert(Joins<Markup, Markup> && Joins<Markup, Literal> && Joins<Literal, Markup> &&
              Appends<Markup, Markup> && Appends<Markup, Literal> && Assigns<Markup, Literal>);

}  // namespace

TEST_CASE("plain text becomes markup by escaping, for content and attributes") {
  const std::string name = "<b a='1'>\"&\x07";
  CHECK(report::escape(name).text() == "&lt;b a=&#39;1&#39;&gt;&quot;&amp; ");
  CHECK(report::attribute("title", name).text() ==
        " title=\"&lt;b a=&#39;1&#39;&gt;&quot;&amp; \"");
  CHECK(("<p>" + report::escape(name) + "</p>").text() ==
        "<p>&lt;b a=&#39;1&#39;&gt;&quot;&amp; </p>");
  CHECK(report::escape_lines("<\n>\n").text() == "&lt;\n&gt;\n");
}

TEST_CASE("an address is made of a literal and of names written by their bytes") {
  const Url to = "/compare?first=" + report::url_text("a&b\"><") + "&second=";
  CHECK(report::href(to).text() == " href=\"/compare?first=a%26b%22%3E%3C&amp;second=\"");
}

TEST_CASE("a text in a style sheet can end neither itself nor its element") {
  CHECK(report::css_string("a\"}</style>\\\n").text() == R"("a\22 \7d \3c \2f style\3e \5c  ")");
}

TEST_CASE("a coordinate is digits, whatever the number") {
  CHECK(report::coordinate(1.25e300).text() == "1000000.0");
  CHECK(report::coordinate(-0.04).text() == "-0.0");
  for (const double none : {1.0 / 0.0, 0.0 / 0.0}) CHECK(report::coordinate(none).text() == "0");
}
