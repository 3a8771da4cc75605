// libFuzzer's way in to one target: PINPROOF_FUZZ_TARGET is its function in targets.h.
#include <cstddef>
#include <cstdint>

#include "targets.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  pinproof::fuzz::PINPROOF_FUZZ_TARGET({reinterpret_cast<const char*>(data), size});
  return 0;
}
