// No coil without a confirmed current limit, a pulse inside its energy budget
// and its rest; and no way out that leaves the output on.
#pragma once

#include <functional>
#include <map>
#include <string>
#include <vector>

#include "bench/ports.h"
#include "profile/profile.h"

namespace pinproof::bench {

/// Asks the supply to be off when the scope ends, however it ends.
class OutputOff {
 public:
  explicit OutputOff(Supply& supply) : supply_(supply) {}
  ~OutputOff();
  OutputOff(const OutputOff&) = delete;
  OutputOff& operator=(const OutputOff&) = delete;
  /// Switches off now and lets a failure be known.
  void now();

 private:
  Supply& supply_;
  bool done_ = false;
};

/// Keeps each coil's budget through a run. Time comes from the caller, so that
/// tests and simulated benches do not wait.
class Energising {
 public:
  /// `wait` sleeps for that many seconds and throws Error(aborted) when stopped;
  /// `now_s` is a monotonic clock in seconds.
  Energising(std::function<void(double)> wait, std::function<double()> now_s)
      : wait_(std::move(wait)), now_s_(std::move(now_s)) {}

  /// Throws Error(Fault::bench) naming coil, figure and budget when `pulse` or
  /// `limit` (shared by all coils) is beyond what the parts may be given. Then
  /// waits until every coil has rested: rest_s * pulse / max_pulse after a pulse,
  /// and until its estimated heat leaves room for another. The estimate falls with
  /// a third of rest_s as its time constant and is never set back.
  void prepare(const std::vector<const profile::Part*>& coils, Duration pulse, Current limit);
  /// Before a pulse through a wire or a contact without a coil. Throws Error(bench) beyond half a
  /// second or two amperes.
  static void prepare_conductor(Duration pulse, Current limit);
  /// To be called after the pulse.
  void pulsed(const std::vector<const profile::Part*>& coils, Duration pulse);

 private:
  std::function<void(double)> wait_;
  std::function<double()> now_s_;
  struct Heat {
    double share = 0;  ///< of what one full pulse brings
    double at_s = 0;
    double time_constant_s = 0;
  };
  double share_of(const std::string& coil, double at_s) const;

  std::map<std::string, double> rested_at_s_;
  std::map<std::string, Heat> heat_;
};

}  // namespace pinproof::bench
