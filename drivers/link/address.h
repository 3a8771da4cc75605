// Addresses taken apart: "serial:///dev/ttyUSB0?baud=9600&dtr=off".
#pragma once

#include <map>
#include <string>
#include <string_view>
#include <vector>

namespace pinproof::link {

/// Throws Error(Fault::usage): "address ...: what; wanted is wanted".
[[noreturn]] void refuse_address(const std::string& address, const std::string& what,
                                 std::string_view wanted);

struct AddressParts {
  std::string path;                            ///< between the scheme and '?'
  std::map<std::string, std::string> options;  ///< after it, by name
};

/// Throws for an option that is not one of `known`, that stands twice or has no value.
AddressParts take_apart(const std::string& address, std::string_view scheme,
                        const std::vector<std::string_view>& known, std::string_view wanted);

/// A whole number within low to high, or the fallback where the option is not given.
int number_option(const AddressParts& parts, const std::string& name, int low, int high,
                  int fallback, const std::string& address, std::string_view wanted);

}  // namespace pinproof::link
