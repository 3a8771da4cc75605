// By which faults could an engine start in gear. Pure.
#pragma once

#include <string>
#include <vector>

#include "lever/code.h"

namespace pinproof::lever {

enum class Danger {
  start_in_gear,          ///< the code of a driving position reads park or neutral
  start_permit_in_gear,   ///< the start-permit contact is closed in a driving position
  neutral_reads_gear,     ///< park or neutral reads as a driving position
  reverse_confused,       ///< reverse reads as a forward position, or a forward one as reverse
  reverse_contact_wrong,  ///< the reverse contact says otherwise than the lever
};
std::string_view name_of(Danger danger);

struct Hazard {
  Danger danger = Danger::start_in_gear;
  std::size_t position = 0;  ///< where the lever stands
  std::size_t reads = 0;     ///< what the controller takes it for; `position` where it is a contact
  bool certain = true;       ///< false: only if a bit that nobody knows falls so
  friend bool operator==(const Hazard&, const Hazard&) = default;
};

/// All hazards of a pack that shows these words, by position.
std::vector<Hazard> hazards_of(const RangeCode& code, const std::vector<Word>& words);
/// No position shows a code that the table does not have: a controller cannot notice.
bool silent(const RangeCode& code, const std::vector<Word>& words);
/// "lever in D reads N: the engine can be started in gear".
std::string text_of(const RangeCode& code, const Hazard& hazard);
/// The same for several positions at once: "lever in R, D, 2: ...". Those with the same danger, the
/// same reading and the same certainty stand together, in the order of their first.
std::vector<std::string> texts_of(const RangeCode& code, const std::vector<Hazard>& hazards);

}  // namespace pinproof::lever
