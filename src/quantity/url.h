// Text as part of a web address.
#pragma once

#include <string>
#include <string_view>

namespace pinproof {

/// As one segment of a path or one half of a query's pair: every byte but the unreserved characters
/// of RFC 3986 (letters, digits, "-._~") as "%" and two digits.
std::string url_escaped(std::string_view text);

}  // namespace pinproof
