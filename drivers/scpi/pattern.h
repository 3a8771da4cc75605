// One command as a dialect file writes it, after SCPI-99 vol. 1 section 6: short
// form in capitals, optional nodes in brackets, typed placeholders.
//   "[SENSe:]RESistance:NPLCycles {nplc}"
//   "CONFigure:RESistance [{range}],[{resolution}]"     parameters that may be left out
//   "CHANnel{channel}:RANGe {range}"                    a numeric suffix of the header
//   "SENSe:FUNCtion \"FRESistance\""                    a parameter that is always this
#pragma once

#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "quantity/document.h"

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

class Pattern {
 public:
  /// Throws Error(Fault::usage) at `place` for what cannot be read.
  static Pattern parse(const Place& place, std::string_view text);

  bool query() const { return query_; }
  /// Short form without a line end; the text of what is wrong where an argument
  /// is missing or of the wrong type.
  std::variant<std::string, Refusal> render(const Arguments& arguments) const;
  /// nullopt where the header is another's. `suffixes` receives numeric suffixes.
  std::optional<std::variant<Call, Refusal>> match(const std::string& operation,
                                                   std::string_view header,
                                                   std::string_view parameters) const;

 private:
  struct Mnemonic {
    std::string full, brief;
    bool optional = false;
    std::string suffix;  ///< placeholder of its numeric suffix; empty: none
  };
  struct Parameter {
    std::string placeholder;  ///< empty: `literal` stands here
    std::string literal;
    bool optional = false;
  };
  bool matches_from(std::size_t at, std::string_view text, Arguments& suffixes) const;
  std::variant<Call, Refusal> read(Call call, std::string_view parameters) const;
  void read_header(const Place& place, std::string_view text);
  void read_parameters(const Place& place, std::string_view text);

  std::vector<Mnemonic> header_;
  std::vector<Parameter> parameters_;
  bool query_ = false;
};

}  // namespace pinproof::scpi
