// One dialect file describes an instrument's commands, its habits on the wire
// and how it spells numbers and channels. The client renders operations by it,
// the simulated instrument recognises messages by it.
#pragma once

#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "metrology/accuracy.h"
#include "scpi/pattern.h"

namespace pinproof::scpi {

/// Habits on the wire.
struct WireHabits {
  std::string line_end = "\n";  ///< sent after each message
  double timeout_s = 2;         ///< of an exchange that takes no time by itself
  double gap_s = 0;             ///< silence wanted between two messages
  bool compound = true;         ///< several commands in one message, with ';'
  enum class Complete { query, status, none } complete = Complete::query;  ///< *OPC?, *OPC + *ESR?
  std::string reply_end = "\n";  ///< how a simulated one ends its replies
};

struct NumberHabits {
  double overload_at = 9.0e37;  ///< magnitudes from here on are an overload
};

class Dialect {
 public:
  /// Throws Error(Fault::usage) naming file, JSON pointer, value and what is
  /// allowed. A dialect that inherits is looked for in the folder of `file`.
  static Dialect parse(std::string_view json, const std::string& file);
  static Dialect load(const std::string& path);

  const std::string& name() const { return name_; }
  const std::string& role() const { return role_; }
  const WireHabits& wire() const { return wire_; }
  const NumberHabits& numbers() const { return numbers_; }
  /// The instrument's answer to *IDN? fits this dialect. Dialects without an
  /// `identity` fit any.
  bool fits(std::string_view identity) const;
  /// It names the identities it is for; without, it is a family's common ground.
  bool names_instruments() const { return !identity_like_.empty(); }
  const std::string& identity_example() const { return identity_example_; }
  /// Accuracy of the instrument by its data sheet; may be empty.
  const metrology::AccuracyTable& accuracy() const { return accuracy_; }
  /// Integration times the instrument has, in power-line cycles; empty: any.
  const std::vector<double>& nplc_steps() const { return nplc_steps_; }
  /// What "sweep_state?" answers when the samples are there.
  const std::string& sweep_done() const { return sweep_done_; }

  /// A crosspoint as this instrument spells it. Throws Error(Fault::bench).
  std::string channel(const std::string& row, const std::string& column) const;

  bool has(std::string_view operation) const;
  std::vector<std::string> operations() const;

  /// The message for an operation, in short form, without a line end.
  /// Throws Error(Fault::bench) when the dialect has no such operation or an
  /// argument is missing or of the wrong type.
  std::string render(std::string_view operation, const Arguments& arguments = {}) const;

  /// What one program message unit asks for: an absolute header ("SENS:RES:NPLC"
  /// without a leading colon, with its '?') and the text of its parameters.
  /// Long or short form, any case. Refusals: -113 unknown header, -109 missing
  /// parameter, -108 parameter too many, -104 wrong type, -224 other fixed word.
  std::variant<Call, Refusal> match(std::string_view header, std::string_view parameters) const;

 private:
  void load_head(Place& root, const std::string& file, int depth);
  void load_wire(Place wire);
  void load_commands(Place& root);
  static Dialect parse(std::string_view json, const std::string& file, int depth);

  std::string name_, role_, identity_example_, sweep_done_, channel_ = "{row}!{column}";
  std::vector<std::string> identity_like_;
  std::vector<double> nplc_steps_;
  WireHabits wire_;
  NumberHabits numbers_;
  metrology::AccuracyTable accuracy_;
  using Commands = std::map<std::string, Pattern, std::less<>>;
  std::shared_ptr<const Commands> commands_;  // never null once loaded; shared by copies
};

/// All dialects of a folder whose files end in ".json", by name. Throws as load().
std::vector<Dialect> load_dialects(const std::string& folder);

}  // namespace pinproof::scpi
