// One inspection from its beginning to its record in the ledger, for whoever shows it: the
// terminal or the screen.
#pragma once

#include <exception>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "inspection/checks/judgement.h"
#include "inspection/run/run.h"
#include "quantity/error.h"
#include "record/record.h"
#include "session/bench.h"
#include "session/keeping.h"

namespace pinproof::session {

/// How the note of a record begins that was made from a kept dialogue: it goes into no ledger.
inline constexpr std::string_view kReplayed = "replayed from a dialogue";

struct Inspection {
  std::string profile_file;
  std::string serial, lot, note;
  std::string ledger;  ///< empty: none
  bool only_static = false;
  enum class CutOff { refuse, go_on, begin_anew };
  CutOff cut_off = CutOff::refuse;  ///< where an inspection of this serial was cut off
};

/// An inspection of this serial was cut off, and nobody has said what to do about it.
struct CutOffError : Error {
  CutOffError(const std::string& what, std::string at)
      : Error(Fault::usage, what), began_at(std::move(at)) {}
  std::string began_at;
};

/// Throws CutOffError where an inspection of this serial by this profile was cut off.
void refuse_cut_off(const Inspection& wanted, const profile::Profile& profile);

class Inspecting {
 public:
  /// Opens ledger and bench; the record has begun. Throws Error.
  Inspecting(const Inspection& wanted, profile::Profile profile, const BenchOpener& open);

  const profile::Profile& profile() const { return profile_; }
  const record::Record& record() const { return record_; }
  Bench& bench() { return *opened_; }

  struct Done {
    inspection::Judgement judgement;
    std::exception_ptr stopped;  ///< why the run ended early, where it did
    std::string told;            ///< of the ledger, or empty
  };
  /// The ledger hears of every event first: nobody is told of a reading that is not kept.
  Done run(std::vector<record::Listener*> listeners, std::vector<inspection::Watcher*> watchers);
  bool keeps() const { return keeping_.keeps(); }
  const std::string& id() const { return keeping_.id(); }

 private:
  void start(const Inspection& wanted);
  void go_on(const std::string& id);
  std::exception_ptr measure(std::vector<record::Listener*> listeners,
                             std::vector<inspection::Watcher*> watchers);

  profile::Profile profile_;
  Keeping keeping_;
  std::string resumed_;  ///< the id of the attempt that is gone on with, or empty
  std::unique_ptr<Bench> opened_;
  record::Record record_;
};

}  // namespace pinproof::session
