// The fuzz targets: whatever arrives from outside, and what must hold however it looks. Each is one
// function over any bytes; entry.cpp makes a libFuzzer program of one, replay.cpp runs files
// through all.
#pragma once

#include <array>
#include <string>
#include <string_view>
#include <utility>

#include "quantity/error.h"

namespace pinproof::fuzz {

/// Ends the program with these words where `holds` is false. Not an assert: NDEBUG keeps it.
void expect(bool holds, std::string_view what, std::string_view detail = {});

/// The name under which targets hand their input on.
inline constexpr const char* kFile = "fuzz";

/// True where `action` came to its end, false where it threw Error: all else leaves, and ends the
/// program. An Error about the input names the file.
template <class Action>
bool accepted(const Action& action, std::string_view names = {}) {
  try {
    action();
    return true;
  } catch (const Error& e) {
    expect(std::string_view(e.what()).starts_with(names), "an Error names its file", e.what());
    return false;
  }
}

/// Cuts the first line off, without its end; all where there is none.
std::string_view take_line(std::string_view& rest);
/// Cuts the first byte off; 0 where there is none.
unsigned take_byte(std::string_view& rest);

/// "PROJECT/PATH".
std::string in_project(std::string_view path);

void try_profile(std::string_view input);
void try_bench(std::string_view input);
void try_dialect(std::string_view input);
void try_record(std::string_view input);
void try_judge(std::string_view input);
void try_readings(std::string_view input);
void try_observed(std::string_view input);
void try_capture(std::string_view input);
void try_coil(std::string_view input);
void try_session(std::string_view input);
void try_instrument(std::string_view input);
void try_http(std::string_view input);
void try_quantity(std::string_view input);

struct Target {
  std::string_view name;
  void (*run)(std::string_view input);
};

/// The one table of targets; CMakeLists.txt lists the same names.
inline constexpr std::array kTargets{Target{"profile", try_profile},
                                     Target{"bench", try_bench},
                                     Target{"dialect", try_dialect},
                                     Target{"record", try_record},
                                     Target{"judge", try_judge},
                                     Target{"readings", try_readings},
                                     Target{"observed", try_observed},
                                     Target{"capture", try_capture},
                                     Target{"coil", try_coil},
                                     Target{"session", try_session},
                                     Target{"instrument", try_instrument},
                                     Target{"http", try_http},
                                     Target{"quantity", try_quantity}};

}  // namespace pinproof::fuzz
