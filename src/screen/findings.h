// What a diagnosis or a lever test has to say, as the page draws it.
#pragma once

#include <string>
#include <vector>

#include "diagnosis/conclusion.h"
#include "lever/study.h"
#include "screen/messages.h"

namespace pinproof::screen {

/// `done`: nothing more will be asked.
std::string ranking_json(const diagnosis::ConclusionInput& input,
                         const diagnosis::Conclusion& conclusion, PinName name, bool done);

/// One look at the lever while it moves. `position` empty: it moves freely.
struct LeverTold {
  const lever::RangeCode* code = nullptr;
  lever::Word word;
  std::string position, bits, expected;
  bool moving = false;
};
std::string lever_live_json(const LeverTold& told);
/// What would be dangerous of this reading in this position; empty where nothing is.
std::string hazard_text(const lever::RangeCode& code, const lever::Word& word,
                        std::size_t position);

std::string lever_result_json(const lever::Study& study);

/// The table as far as it has been read: '?' elsewhere.
std::vector<inspection::LeverRow> rows_of(const lever::RangeCode& code,
                                          const std::vector<lever::Word>& seen);

}  // namespace pinproof::screen
