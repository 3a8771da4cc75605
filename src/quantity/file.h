// Files read and written whole, and the hash of their bytes.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace pinproof {

/// Reads a whole file. Throws Error(Fault::usage) naming the file, and its size
/// where it is larger than `at_most_bytes`.
std::string read_file(const std::string& path, std::size_t at_most_bytes);

/// SHA-256 of the bytes, in lower-case hexadecimal (FIPS 180-4).
std::string sha256_hex(std::string_view bytes);

/// Writes to a neighbouring temporary file, syncs, then renames over `path`: a
/// reader sees the old file or the whole new one. Throws Error(Fault::usage).
void write_file(const std::string& path, std::string_view bytes);

}  // namespace pinproof
