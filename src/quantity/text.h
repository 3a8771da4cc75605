// SI text in and out. Locale-free: a point is the only decimal sign unless the
// caller says otherwise, and no setting of the machine changes what is read.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "quantity/quantity.h"

namespace pinproof {

/// "ohm" -> "Ω" and so on; "" for Unit::none.
std::string_view symbol(Unit unit);

/// The stable name used in files: "ohm", "V", "A", "H", "s", "celsius", "Pa", "Wb", "percent", "W",
/// "J", "1".
std::string_view file_name(Unit unit);
std::optional<Unit> unit_from_file_name(std::string_view name);

/// A whole number in decimal or scientific notation, with an optional leading
/// '+' (which nearly every meter sends and from_chars refuses). All of `text`
/// must be consumed; "nan", "inf" and hexadecimal are refused.
std::optional<double> parse_number(std::string_view text);

/// "3.3 kΩ", "50kohm", "200 mohm", "2 MΩ", "5 ms" -> SI value. The unit may be
/// left out, then the bare number (with prefix) is taken as `unit`; a different
/// unit is refused. "m" is milli and "M" mega: case matters.
std::optional<double> parse_si(std::string_view text, Unit unit);

/// Shortest text that reads back to the same double.
std::string exact(double value);

/// `digits` significant digits with an SI prefix: format_si(0.0326, henry, 3)
/// is "32.6 mH". Temperatures, percentages and plain numbers get no prefix.
std::string format_si(double value, Unit unit, int digits = 4);

/// Value and expanded uncertainty U = coverage_factor * u in one prefix:
/// "12.983 ± 0.012 Ω". U gets two significant digits, rounded up (a shown U is
/// never smaller than the true one), and the value ends at the same decimal place.
std::string format_estimate(const Estimate& estimate, Unit unit, double coverage_factor = 2.0);

/// Milliseconds and such for logs: seconds with at most three decimals.
std::string format_seconds(double seconds);

}  // namespace pinproof
