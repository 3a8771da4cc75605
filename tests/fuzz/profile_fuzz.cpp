// libFuzzer target: any bytes are a profile or an Error, never a crash; and what
// loads can be linted.
#include <cstddef>
#include <cstdint>
#include <string_view>

#include "profile/lint.h"
#include "profile/load.h"
#include "quantity/error.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  try {
    const auto profile =
        pinproof::profile::parse_profile({reinterpret_cast<const char*>(data), size}, "fuzz");
    (void)pinproof::profile::lint(profile);
  } catch (const pinproof::Error&) {
    // The only way to refuse.
  }
  return 0;
}
