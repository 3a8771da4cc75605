// What main program and guardian say to each other: one packet a request, one a
// reply, over a local socket that keeps packets whole.
#pragma once

#include <cstdint>
#include <cstring>
#include <string>
#include <string_view>

#include "quantity/error.h"

namespace pinproof::link {

enum class Ask : char {
  hello = 'H',         ///< address, off bytes, query bytes; answered once it serves
  write = 'W',         ///< bytes
  read_line = 'L',     ///< at most
  read_exactly = 'X',  ///< count
  discard = 'D',       ///< quiet in seconds
  close = 'C',
  guard = 'G',  ///< seconds, 0: none
  stop = 'S',   ///< ends the exchange under way; no reply of its own
};

inline constexpr std::size_t kLongestPacket = 100'000;

class PacketWriter {
 public:
  explicit PacketWriter(char head) : bytes_(1, head) {}
  PacketWriter& number(double value) {
    char raw[sizeof value];
    std::memcpy(raw, &value, sizeof value);
    bytes_.append(raw, sizeof value);
    return *this;
  }
  PacketWriter& text(std::string_view value) {
    number(static_cast<double>(value.size()));
    bytes_ += value;
    return *this;
  }
  const std::string& bytes() const { return bytes_; }

 private:
  std::string bytes_;
};

/// Throws Error(Fault::bench) for a packet that is too short.
class PacketReader {
 public:
  explicit PacketReader(std::string_view bytes) : rest_(bytes) {}
  char head() { return take(1).front(); }
  double number() {
    double value = 0;
    std::memcpy(&value, take(sizeof value).data(), sizeof value);
    return value;
  }
  std::string text() {
    const double size = number();
    if (!(size >= 0 && size <= static_cast<double>(rest_.size()))) refuse();
    return std::string(take(static_cast<std::size_t>(size)));
  }

 private:
  [[noreturn]] static void refuse() { throw Error(Fault::bench, "guardian: a broken packet"); }
  std::string_view take(std::size_t count) {
    if (rest_.size() < count) refuse();
    const std::string_view out = rest_.substr(0, count);
    rest_.remove_prefix(count);
    return out;
  }
  std::string_view rest_;
};

}  // namespace pinproof::link
