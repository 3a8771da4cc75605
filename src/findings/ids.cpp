#include "findings/ids.h"

#include "quantity/text.h"

namespace pinproof::findings {
namespace {

constexpr double kUsual_celsius = 20;

std::string without_slash(const std::string& word) {
  std::string out;
  for (const char c : word) {
    if (c == '/')
      out += "%2F";
    else if (c == '%')
      out += "%25";
    else
      out += c;
  }
  return out;
}

}  // namespace

std::string text_of(const ResultId& id) {
  std::string out = without_slash(id.check) + "/" + without_slash(id.subject);
  if (!id.aspect.empty()) out += "/" + without_slash(id.aspect);
  return out;
}

std::string resistance_at(double celsius) {
  std::string out = kResistance;
  if (celsius != kUsual_celsius) out += "@" + exact(celsius);
  return out;
}

}  // namespace pinproof::findings
