#include <algorithm>
#include <array>
#include <cmath>

#include "link/address.h"
#include "link/link.h"
#include "quantity/error.h"
#include "quantity/text.h"

namespace pinproof::link {

// The one table of links.
std::span<const Scheme* const> schemes() {
  static constexpr std::array kSchemes{&kTcp, &kSerial, &kUsbtmc, &kCommand};
  return kSchemes;
}

void refuse_address(const std::string& address, const std::string& what, std::string_view wanted) {
  throw Error(Fault::usage,
              "address \"" + address + "\": " + what + "; " + std::string(wanted) + " is wanted");
}

std::unique_ptr<Link> open_link(const std::string& address) {
  std::string wanted;
  for (const Scheme* scheme : schemes()) {
    if (address.starts_with(scheme->prefix)) return scheme->open(address);
    wanted += (wanted.empty() ? "" : ", ") + std::string(scheme->wanted);
  }
  refuse_address(address, "unknown kind", wanted);
}

AddressParts take_apart(const std::string& address, std::string_view scheme,
                        const std::vector<std::string_view>& known, std::string_view wanted) {
  AddressParts out;
  std::string_view rest = std::string_view(address).substr(scheme.size());
  const auto question = rest.find('?');
  out.path = rest.substr(0, question);
  rest = question == std::string_view::npos ? std::string_view{} : rest.substr(question + 1);
  while (!rest.empty()) {
    const auto end = rest.find('&');
    const std::string_view one = rest.substr(0, end);
    const auto equals = one.find('=');
    const std::string name(one.substr(0, equals));
    if (std::find(known.begin(), known.end(), name) == known.end())
      refuse_address(address, "unknown option \"" + name + "\"", wanted);
    if (equals == std::string_view::npos || equals + 1 == one.size())
      refuse_address(address, "option \"" + name + "\" has no value", wanted);
    if (!out.options.emplace(name, one.substr(equals + 1)).second)
      refuse_address(address, "option \"" + name + "\" stands twice", wanted);
    rest = end == std::string_view::npos ? std::string_view{} : rest.substr(end + 1);
  }
  return out;
}

int number_option(const AddressParts& parts, const std::string& name, int low, int high,
                  int fallback, const std::string& address, std::string_view wanted) {
  const auto it = parts.options.find(name);
  if (it == parts.options.end()) return fallback;
  const auto number = parse_number(it->second);
  if (!number || *number != std::floor(*number) || *number < low || *number > high)
    refuse_address(
        address,
        name + " is not " + std::to_string(low) + " to " + std::to_string(high) + ": " + it->second,
        wanted);
  return static_cast<int>(*number);
}

}  // namespace pinproof::link
