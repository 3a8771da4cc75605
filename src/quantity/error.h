// Why a step could not be carried out. A part that measures badly is a result,
// never an Error.
#pragma once

#include <stdexcept>
#include <string>

namespace pinproof {

/// Each maps to one exit code of the program (see exit_code()).
enum class Fault {
  usage,      ///< wrong command line or wrong file: exit 3
  bench,      ///< an instrument, a link or the fixture failed: exit 4
  timeout,    ///< no reply in time: exit 4
  bad_reply,  ///< a reply that cannot be read as what was asked for: exit 4
  aborted     ///< a person or a signal stopped the work: exit 5
};

class Error : public std::runtime_error {
 public:
  Error(Fault fault, const std::string& what) : std::runtime_error(what), fault_(fault) {}

  Fault fault() const { return fault_; }

  /// The same fault with the outer step put in front:
  /// "meter: READ?: no reply within 2 s".
  [[nodiscard]] Error during(const std::string& step) const {
    return {fault_, step + ": " + what()};
  }

 private:
  Fault fault_;
};

/// The process exit code of a fault: 3, 4 or 5.
constexpr int exit_code(Fault fault) {
  switch (fault) {
    case Fault::usage:
      return 3;
    case Fault::aborted:
      return 5;
    case Fault::bench:
    case Fault::timeout:
    case Fault::bad_reply:
      break;
  }
  return 4;
}

}  // namespace pinproof
