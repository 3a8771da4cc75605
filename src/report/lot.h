// What a lot came to: for people, for programs, and drawn.
#pragma once

#include <cstdint>
#include <map>
#include <string>

#include "lot/study.h"

namespace pinproof::report {

/// `all`: every figure, not only resistances and what is worth a word.
std::string lot_text(const lot::LotStudy& study, bool all);
std::string lot_json(const lot::LotStudy& study);
/// A page of its own: yield, packs that stand out, strip plot by coil, run charts, histograms.
std::string lot_html(const lot::LotStudy& study);

/// Where the live screen's pages lead from a lot.
struct LotLinks {
  std::map<std::int64_t, record::Attempt> packs;  ///< by number: ends of the plots, and outliers
  std::string usual;  ///< id of a pack that does not stand out, to compare with; may be empty
  std::string usual_serial;
};
LotLinks lot_links(const lot::LotStudy& study, const record::Ledger& ledger);
/// The same page among the others: dots and rows lead to reports.
std::string lot_html(const lot::LotStudy& study, const LotLinks& links);

/// "2 of 40 packs need a look: 1 on hold." in one sentence.
std::string lot_verdict(const lot::LotStudy& study);
/// Of a pack that stands out: on hold, or what is in force.
std::string lot_verdict(const lot::LotOutlier& outlier);
/// Packs to be held: accepted, but standing out.
std::size_t held(const lot::LotStudy& study);

}  // namespace pinproof::report
