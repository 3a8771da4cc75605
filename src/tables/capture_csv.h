// Capture files from any oscilloscope: text in, samples out. Pure.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>

#include "waveform/capture.h"

namespace pinproof::tables {

/// Which columns to take. Each may be a header name or a number from 1; empty
/// means found by header.
struct CsvOptions {
  std::string time;
  std::string current;
  std::string voltage;
  std::optional<double> shunt_ohm;  ///< the current column holds the shunt's voltage
  std::size_t fewest_rows = 20;
  std::string file = "capture";  ///< for messages
};

/// Reads "time=NAME,current=2,voltage=NAME" into the options; a name with a
/// comma stands in double quotes. Throws Error(Fault::usage).
void take_columns(std::string_view text, CsvOptions& options);

struct ReadCapture {
  waveform::Capture capture;
  std::string time_header, current_header,
      voltage_header;  ///< what was taken; voltage may be empty
  std::size_t rows = 0;
  bool resampled = false;  ///< the steps were uneven (within 1 %) and were made even
};

/// Finds delimiter (comma, semicolon or tab), decimal sign, header row and units
/// (in the header: "Time (ms)", "i_A", "CH1 [mV]", or in a row of units below
/// it) by itself; lines before the header are an instrument's own and skipped,
/// as are its columns left of the samples.
/// Time must rise in equal steps: within 1 % or within what its last printed
/// digit can show.
/// Throws Error(Fault::usage) naming file, line, column, the text found and what
/// is allowed.
ReadCapture read_capture_csv(std::string_view text, const CsvOptions& options);

}  // namespace pinproof::tables
