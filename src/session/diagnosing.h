// A diagnosis on a bench or from readings: what it rests on, and the way from question to question.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "diagnosis/conclusion.h"
#include "diagnosis/cover.h"
#include "inspection/run/run.h"
#include "profile/profile.h"
#include "session/bench.h"
#include "session/probing.h"

namespace pinproof::session {

/// What somebody wants of a diagnosis.
struct DiagnosisAsked {
  std::vector<std::string> codes;  ///< trouble codes that were set
  double hold_s = 0;  ///< then every circuit is held for so long while things are moved
  bool thorough = false, soak = false;
};

/// The temperature of the pack where nobody measured it: what was entered, or a room's.
Estimate celsius_or_room(const std::optional<Estimate>& entered);

/// What everything after the temperature is known rests on.
struct DiagnosisDesk {
  /// `profile` outlives it.
  DiagnosisDesk(const profile::Profile& profile, const Estimate& celsius,
                const diagnosis::Means& means, const DiagnosisAsked& asked);
  diagnosis::ConclusionInput input(const diagnosis::Search& done) const;

  static constexpr double kNoise_ohm = 0.05;
  std::vector<std::string> codes;
  network::Model model;
  diagnosis::Scene scene;
  std::vector<diagnosis::Suspect> suspects;
  std::vector<diagnosis::Probe> probes;
  std::vector<std::size_t> list;
  diagnosis::SearchOptions search;
  std::vector<std::string> remarks;
  std::string unproven;  ///< why nothing is exonerated; empty where something can be
  std::vector<diagnosis::Held> held;
};

/// Told before each question and at the end: what is known, and what is asked next.
using DiagnosisStep = std::function<void(const DiagnosisDesk& desk, diagnosis::Search& search)>;

class Diagnosing {
 public:
  /// The bench proves itself and the temperature is read. All outlive it. Throws Error.
  Diagnosing(const profile::Profile& profile, const Bench& opened,
             const inspection::RunOptions& run, record::Record& record, const DiagnosisAsked& asked,
             const std::optional<Estimate>& entered);

  /// Until the fault has a name, or nothing is left to ask; the bench proves itself again. `hold`
  /// is told which circuit is held now. Throws Error, with the bench made safe.
  void run(const DiagnosisStep& on_step, const std::function<void(const std::string&)>& on_hold);
  const DiagnosisDesk& desk() const { return desk_; }
  diagnosis::Search& search() { return search_; }

 private:
  void ask(std::size_t asked);
  std::optional<bool> may_drive(const diagnosis::Probe& probe) const;
  void hold_all(const std::function<void(const std::string&)>& on_hold);

  const inspection::RunOptions& run_;
  record::Record& record_;
  DiagnosisAsked asked_;
  DiagnosisDesk desk_;
  diagnosis::Search search_;
  Probing probing_;
};

}  // namespace pinproof::session
