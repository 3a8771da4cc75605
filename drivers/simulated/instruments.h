// The five simulated instruments, one file each, and the accuracy they claim.
#pragma once

#include <memory>
#include <span>

#include "simulated/scpi_device.h"

namespace pinproof::simulated {

std::unique_ptr<ScpiDevice> make_meter(World& world, scpi::Dialect dialect);
std::unique_ptr<ScpiDevice> make_digitiser(World& world, scpi::Dialect dialect);
std::unique_ptr<ScpiDevice> make_matrix(World& world, scpi::Dialect dialect);
std::unique_ptr<ScpiDevice> make_supply(World& world, scpi::Dialect dialect);
std::unique_ptr<ScpiDevice> make_actuator(World& world, scpi::Dialect dialect);

/// Rows of relays that are counted through stand so far apart.
inline constexpr std::size_t kRelaysPerRow = 64;
/// How a fixture for this dialect names the row 1, 2, ...
std::string row_name(const scpi::Dialect& dialect, std::size_t row);

/// One range of ohms: what the bench file says and what the meter keeps.
struct OhmRange {
  double range, test_A, reading_ppm, range_ppm;
};
std::span<const OhmRange> ohm_ranges();
inline constexpr double kOver = 1.2;
inline constexpr double kDigitiserReading_ppm = 1000;
inline constexpr double kDigitiserRange_ppm = 300;
std::span<const double> digitiser_ranges();
inline constexpr double kMaxSupply_V = 30;
inline constexpr double kMaxSupply_A = 5;

}  // namespace pinproof::simulated
