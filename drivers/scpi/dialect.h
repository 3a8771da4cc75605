// One dialect file describes an instrument's commands. The client renders
// operations by it, the simulated instrument recognises messages by it.
//
// A command is written as SCPI-99 vol. 1 section 6 writes it, with the short
// form in capitals and optional nodes in brackets:
//   "[SENSe:]RESistance:NPLCycles {nplc}"
// A placeholder {name} is typed by its name: see kPlaceholders in dialect.cpp.
#pragma once

#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace pinproof::scpi {

/// A number, a word of letters and digits, or channels as the dialect spells them.
using Argument = std::variant<double, std::string, std::vector<std::string>>;
using Arguments = std::map<std::string, Argument, std::less<>>;

/// A message recognised: which operation, with which arguments.
struct Call {
  std::string operation;
  Arguments arguments;
};

/// Why a message is not one of the dialect's: the SCPI-99 error number and text
/// ("-113", "Undefined header"), for a simulated instrument's error queue.
struct Refusal {
  int number = 0;
  std::string text;
};

class Dialect {
 public:
  /// Throws Error(Fault::usage) naming file, JSON pointer, value and what is allowed.
  static Dialect parse(std::string_view json, const std::string& file);
  static Dialect load(const std::string& path);

  const std::string& name() const { return name_; }
  const std::string& role() const { return role_; }
  bool has(std::string_view operation) const;
  std::vector<std::string> operations() const;

  /// The message for an operation, in short form, without a line end.
  /// Throws Error(Fault::bench) when the dialect has no such operation or an
  /// argument is missing or of the wrong type.
  std::string render(std::string_view operation, const Arguments& arguments = {}) const;

  /// What one program message unit asks for: an absolute header ("SENS:RES:NPLC"
  /// without a leading colon, with its '?') and the text of its parameters.
  /// Long or short form, any case. Refusals: -113 unknown header, -109 missing
  /// parameter, -108 parameter too many, -104 wrong type of parameter.
  std::variant<Call, Refusal> match(std::string_view header, std::string_view parameters) const;

 private:
  struct Pattern;
  struct Commands;
  std::string name_;
  std::string role_;
  std::shared_ptr<const Commands> commands_;  // never null; shared by copies
};

}  // namespace pinproof::scpi
