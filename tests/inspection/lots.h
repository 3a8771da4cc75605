// Lots for the tests of their study, made so that the answer is known.
#pragma once

#include <random>
#include <string>
#include <vector>

#include "lot/study.h"

namespace pinproof::lot {

inline constexpr int kCoils = 4;

/// One pack: coils share a part of their spread, as wire of one spool does.
inline std::vector<double> draw(std::mt19937_64& random, double middle = 13) {
  std::normal_distribution<double> noise;
  const double common = 0.06 * noise(random);
  std::vector<double> out;
  for (int k = 0; k < kCoils; ++k) out.push_back(middle + common + 0.03 * noise(random));
  return out;
}

inline std::string add(record::Ledger& ledger, const std::string& lot, const std::string& serial,
                       const std::vector<double>& ohm, const std::string& verdict = "accept",
                       const std::string& ended = "complete", const std::string& level = "static",
                       const std::string& profile = "ferry yard five-speed") {
  record::Header h;
  const std::string hash = profile == "ferry yard five-speed" ? "c0ffee" : "of " + profile;
  h.profile_name = profile, h.profile_hash = hash, h.lot = lot;
  h.serial = serial, h.started_at = "2026-11-02T08:15:00Z";
  std::string id = ledger.begin(h, "{}");
  record::Judged judged;
  judged.verdict = verdict, judged.level = level, judged.profile_hash = hash;
  for (std::size_t k = 0; k < ohm.size(); ++k) {
    const std::string coil(1, static_cast<char>('A' + k));
    record::Figure f{"coil-resistance", coil, "resistance_ohm", "Coil " + coil, Unit::ohm,
                     {12, 14},          ohm[k], 0.01,           "pass"};
    judged.figures.push_back(f);
  }
  ledger.close(id, ended, judged);
  return id;
}

inline LotStudy study(const record::Ledger& ledger, const std::string& lot = "L") {
  LotAsked asked;
  asked.lot = lot;
  return study_lot(ledger, asked);
}

inline bool says(const LotStudy& s, const std::string& serial, const std::string& word) {
  for (const auto& o : s.outliers)
    if (o.attempt.serial == serial)
      for (const auto& reason : o.reasons)
        if (reason.find(word) != std::string::npos) return true;
  return false;
}

}  // namespace pinproof::lot
