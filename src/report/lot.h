// What a lot came to: for people, for programs, and drawn.
#pragma once

#include <string>

#include "inspection/lot_study.h"

namespace pinproof::report {

/// `all`: every figure, not only resistances and what is worth a word.
std::string lot_text(const inspection::LotStudy& study, bool all);
std::string lot_json(const inspection::LotStudy& study);
/// A page of its own: yield, packs that stand out, strip plot by coil, run charts, histograms.
std::string lot_html(const inspection::LotStudy& study);

/// "2 of 40 packs need a look: 1 on hold." in one sentence.
std::string lot_verdict(const inspection::LotStudy& study);
/// Packs on hold: accepted, but standing out.
std::size_t held(const inspection::LotStudy& study);

}  // namespace pinproof::report
