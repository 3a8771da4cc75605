// The judgement of a run while it goes on: what each event changes in it, and what a reading that
// is only on the meter's display would be judged as. By the same checks as the verdict.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "bench/description.h"
#include "bench/ports.h"
#include "inspection/checks/judgement.h"
#include "inspection/checks/plan.h"
#include "profile/profile.h"
#include "record/record.h"

namespace pinproof::inspection {

class Following {
 public:
  /// `profile` outlives it.
  Following(const profile::Profile& profile, record::Header header);

  struct JudgementChange {
    std::vector<Result> results;
    std::vector<Finding> findings;
    std::vector<CoilTrace> traces;
    bool lever = false;  ///< the lever table has changed
  };
  /// What these events change. Events of driven coils are judged here too: some 10 ms each.
  JudgementChange add(std::vector<record::Event> events);
  const std::vector<LeverRow>& lever() const { return lever_; }
  const record::Record& record() const { return record_; }

  /// What would be judged of `reading`; nullopt where no single result hangs on it. Of several the
  /// one that is not a pass.
  std::optional<Result> would_be(const record::Reading& reading);

 private:
  struct SeenResult {
    Outcome outcome;
    std::string text;
  };
  Judgement judge_kinds(bool driven, std::string_view only = {}) const;

  const profile::Profile& profile_;
  record::Record record_;
  std::map<findings::ResultId, SeenResult> results_;
  std::map<findings::FindingId, std::string> findings_;  // as it was told last
  std::map<std::string, std::size_t> traces_;            // by coil: its capture
  std::vector<LeverRow> lever_;
};

/// What a meter shows for a step, as the reading it would become: corrected for the leads as read
/// in the self-check, u by the accuracy table. nullopt where the table has no such range.
std::optional<record::Reading> as_reading(const bench::Description& bench,
                                          const record::Record& so_far, const record::Key& key,
                                          const OhmStep& step, const record::Condition& condition,
                                          const bench::ShownOhms& shown);

}  // namespace pinproof::inspection
