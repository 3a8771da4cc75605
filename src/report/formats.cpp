#include "report/formats.h"

#include <algorithm>
#include <array>

#include "quantity/error.h"

namespace pinproof::report {

// The one table of formats.
std::span<const Format> formats() {
  static constexpr std::array kFormats{Format{"text", to_text}, Format{"json", to_json},
                                       Format{"csv", to_csv}, Format{"html", to_html}};
  return kFormats;
}

std::string render(std::string_view format, const Input& input) {
  for (const Format& one : formats())
    if (one.name == format) return one.render(input);
  throw Error(Fault::usage,
              "report format \"" + std::string(format) + "\": text, json, csv and html are known");
}

}  // namespace pinproof::report
