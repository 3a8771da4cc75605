// Questions of a diagnosis put to a bench.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <utility>

#include "diagnosis/intermittent.h"
#include "diagnosis/search.h"
#include "inspection/run/handling.h"
#include "record/record.h"

namespace pinproof::session {

/// One bench, one pack. Reads what a probe asks for, and keeps every reading in the record.
class Probing {
 public:
  /// All must outlive it. `options` as for an inspection.
  Probing(const diagnosis::Scene& scene, const inspection::RunOptions& options,
          record::Record& record);

  /// nullopt where the probe cannot be read without harm, or the technician skipped it: the
  /// reason is in the record. Throws Error.
  std::optional<diagnosis::Observation> read(const diagnosis::Probe& probe);
  /// Reads a resistance again and again for so many seconds of the run's clock. Throws Error.
  diagnosis::Held hold(const diagnosis::Probe& probe, double seconds);
  /// What was last read between the terminals that a driven probe drives, as warm as they are then.
  std::optional<double> driven_ohm(const diagnosis::Probe& probe) const;
  /// Seen beside the readings: currents that come and go.
  const std::vector<std::string>& remarks() const { return remarks_; }
  /// Vents the air, which a person is waited for, and makes the bench safe.
  void finish();
  std::string make_safe_after_trouble() { return handling_.make_safe_after_trouble(); }

 private:
  diagnosis::Observation resistance(const diagnosis::Probe& probe, const record::Key& key);
  std::optional<diagnosis::Observation> driven(const diagnosis::Probe& probe,
                                               const record::Key& key);
  inspection::DriveStep step_for(const diagnosis::Probe& probe, const profile::Part* coil) const;
  std::optional<diagnosis::Observation> observed(const diagnosis::Probe& probe,
                                                 const record::PulseCapture& capture,
                                                 double coil_ohm);
  void remark_on_load(const diagnosis::Probe& probe, const record::PulseCapture& capture,
                      double small_ohm);
  bench::Connection connection(const diagnosis::Probe& probe) const;
  void emit(record::Event event);

  const diagnosis::Scene& scene_;
  const inspection::RunOptions& options_;
  record::Record& record_;
  inspection::Handling handling_;
  struct DrivenPair {
    std::size_t a, b;
    bool hot;
    friend auto operator<=>(const DrivenPair&, const DrivenPair&) = default;
  };
  DrivenPair driven_pair(const diagnosis::Probe& probe) const;
  std::map<DrivenPair, double> read_ohm_;
  std::vector<std::string> remarks_;
  int count_ = 0;
};

}  // namespace pinproof::session
