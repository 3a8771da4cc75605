// Where the lever's contacts are read, and which bits a resistance there stands for. Pure.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "lever/line_faults.h"
#include "profile/harness.h"
#include "record/readings.h"

namespace pinproof::lever {

/// Two terminals and the contacts between them.
struct Tap {
  std::string from;  ///< a pin of the pack, or of the controller's end of a harness
  std::string to;    ///< what the contacts share there
  std::vector<std::size_t> columns;
  double wires_ohm = 0;  ///< at most, beside the contacts
};

/// At the pack's connector.
std::vector<Tap> taps_of(const profile::Profile& profile, const RangeCode& code);
/// At the controller's end of a harness, against its ground; contacts without a wire are left out.
std::vector<Tap> taps_of(const profile::Profile& profile, const RangeCode& code,
                         const profile::Harness& harness);

/// Ohms between which a contact reads neither closed nor open: by the controller's input where the
/// profile gives one, else from the contact's limit to the least open resistance.
Interval doubtful_ohm(const profile::Profile& profile, const RangeCode& code, const Tap& tap);

struct Bits {
  Word word;
  Mask weak = 0;
};
/// `ohm` infinite for an open. Contacts that share a pin are told by their series resistors.
Bits bits_of(const profile::Profile& profile, const RangeCode& code, const Tap& tap, double ohm);

/// What a reading says: infinite for an overload only where its range reaches the least open
/// resistance, NaN (nothing) for one in a smaller range.
double believed_ohm(const profile::Profile& profile, double ohm, double range_end);

/// An observation with what was odd about it.
struct RemarkedTaps {
  Observed observed;
  std::vector<std::string> remarks;  ///< cells that read differently at different times
};

/// Nothing seen yet.
Observed nothing_of(const RangeCode& code);
/// From resistances that somebody wrote down or a record holds. Readings between other terminals
/// are not looked at. Throws Error(usage) for a lever position that the profile does not have.
RemarkedTaps observe(const profile::Profile& profile, const RangeCode& code,
                     const std::vector<Tap>& taps, const record::WrittenReadings& readings,
                     const std::string& file);
/// From codes: "pinproof/observed/1" with `positions` [{`name`, `code`, `start_permit`,
/// `reverse`}]; codes of 1 (open), 0 (closed), w (neither) and x (not seen). Throws Error(usage).
RemarkedTaps observe(const RangeCode& code, std::string_view json, const std::string& file);

}  // namespace pinproof::lever
