// A record as the checks look at it, and the few judgements they share. Pure.
#pragma once

#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "inspection/checks/judgement.h"
#include "profile/profile.h"
#include "record/record.h"

namespace pinproof::inspection {

class Evidence {
 public:
  Evidence(const profile::Profile& profile, const record::Record& record);

  const profile::Profile& profile() const { return profile_; }
  const record::Record& record() const { return record_; }
  bool full() const { return record_.header.full; }

  const record::Reading* reading(const record::Key& key) const {
    return record::last_reading(record_, key);
  }
  const record::PulseCapture* capture(const record::Key& key) const {
    return record::last_capture(record_, key);
  }
  /// The plan itself left this out, and said why.
  bool skipped(const record::Key& key) const;
  /// Fills outcome, text, skipped and unread of a result whose reading is not there: the skip's
  /// reason, the bench's trouble, or that nobody took it.
  void tell_missing(const record::Key& key, Result& result) const;

  /// Temperature of the pack's copper during the resistance readings, °C: the
  /// mean of the thermometer before and after, with their difference and the
  /// pack's lag behind the air as part of the uncertainty. nullopt without a thermometer.
  std::optional<Estimate> celsius() const;

  /// A finite reading below 1 MΩ went from this terminal to another, so its lead, relay
  /// and contact work. An open is only believed on terminals that are proven.
  bool proven(const std::string& terminal) const { return proven_.contains(terminal); }
  std::vector<std::string> unproven(const std::vector<std::string>& terminals) const;

 private:
  const profile::Profile& profile_;
  const record::Record& record_;
  std::set<std::string> proven_;
};

/// Judges `value` against `limit` with the profile's guard band and fills
/// outcome, value, unit, limit, guard_band and text of `result`.
void judge_number(const Evidence& evidence, const Estimate& value, Unit unit, const Interval& limit,
                  Result& result);

/// A resistance reading against bounds; an overload is outside any finite bound.
void judge_closed(const Evidence& evidence, const record::Reading& reading, const Interval& limit,
                  Result& result);

/// Less than no resistance, beyond its uncertainty and some millivolts of contact, is no reading of
/// a pack: a pass becomes undecided.
void refuse_negative(const Estimate& ohm, Result& result);

/// A resistance reading that must be at least `least_ohm`. An overload passes
/// only where the range went beyond the limit and both terminals are proven.
void judge_open(const Evidence& evidence, const record::Reading& reading, double least_ohm,
                Result& result);

/// A result for a reading that is not there.
Result missing(const Evidence& evidence, const record::Key& key, std::string title);

/// What is said of a reading that is missing, though nobody skipped it and no trouble prevented it.
inline constexpr std::string_view kNotMeasured = "not measured";

/// "12 and case", "1, 2, 3 and 20".
std::string list_of(const std::vector<std::string>& words);

/// "12.98 ± 0.04 Ω" or "open (above 120 MΩ)".
std::string text_of(const record::Reading& reading);

}  // namespace pinproof::inspection
