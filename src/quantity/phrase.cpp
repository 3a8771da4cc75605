#include "quantity/phrase.h"

#include <algorithm>
#include <array>
#include <charconv>

namespace pinproof {
namespace {

std::string number(double value, std::chars_format format, int precision) {
  std::array<char, 400> buffer{};  // the largest double has 309 digits before the point
  const auto result =
      std::to_chars(buffer.data(), buffer.data() + buffer.size(), value, format, precision);
  return {buffer.data(), result.ptr};
}

}  // namespace

std::string fixed(double value, int decimals) {
  return number(value, std::chars_format::fixed, std::clamp(decimals, 0, 80));
}

std::string significant(double value, int digits) {
  return number(value, std::chars_format::general, digits);
}

std::string percent(double share, int decimals) { return fixed(100 * share, decimals) + " %"; }

std::string counted(std::size_t n, std::string_view one) {
  return counted(n, one, std::string(one) + "s");
}

std::string counted(std::size_t n, std::string_view one, std::string_view many) {
  return std::to_string(n).append(" ").append(n == 1 ? one : many);
}

}  // namespace pinproof
