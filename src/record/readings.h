// Readings that somebody took with any meter and wrote down: "pinproof/readings/1".
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "quantity/quantity.h"
#include "record/record.h"

namespace pinproof::record {

/// One resistance, or what was read while a current flowed elsewhere.
struct WrittenReading {
  std::string pointer;            ///< where it stands in its file, for complaints
  std::vector<std::string> from;  ///< terminals; several are tied together
  std::vector<std::string> to;
  Condition condition;
  double ohm = 0;                  ///< infinite for an open; volt for each ampere of `drive`
  double u_ohm = 0;                ///< standard uncertainty
  double range_ohm = 0;            ///< an open is beyond this; infinite where nobody said
  std::vector<std::string> drive;  ///< two terminals between which a current flowed; or none
  std::optional<double> share;   ///< of the voltage between `drive` that was seen, in place of ohm
  std::optional<Interval> held;  ///< least and most ohm while the pack was wiggled or warmed
  double at_s = 0;
};

struct WrittenReadings {
  std::optional<Estimate> celsius;  ///< of the pack
  std::vector<WrittenReading> readings;
};

/// Throws Error(usage) with file, pointer and the allowed range.
WrittenReadings readings_from_json(std::string_view json, const std::string& file);

/// The plain resistances of a record, ready for diagnosis.
WrittenReadings readings_of(const Record& record);

}  // namespace pinproof::record
