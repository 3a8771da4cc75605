// Any bytes are what was seen of a lever, as codes or as readings, or an Error; what loads is
// explained, and accepted only where every contact was read and is right.
#include <algorithm>

#include "lever/study.h"
#include "packs.h"
#include "record/readings.h"
#include "targets.h"

namespace pinproof::fuzz {
namespace {

lever::RemarkedTaps seen_in(const profile::Profile& profile, const lever::RangeCode& code,
                            const std::vector<lever::Tap>& taps, std::string_view input) {
  if (input.find("pinproof/readings/1") == std::string_view::npos)
    return lever::observe(code, input, kFile);
  return lever::observe(profile, code, taps, record::readings_from_json(input, kFile), kFile);
}

void expect_study(const lever::Study& study) {
  const auto& observed = study.seen.observed;
  for (std::size_t p = 0; p < study.code.positions.size(); ++p) {
    expect((observed.words[p].closed & ~observed.words[p].known) == 0, "closed is known");
    if (study.verdict != inspection::Verdict::accept) continue;
    expect((study.code.readable(p) & ~observed.words[p].known) == 0, "accept: all was read",
           study.code.positions[p]);
    expect(agree(observed.words[p], study.code.words[p]), "accept: all is right", study.why);
  }
  double sum = 0;
  for (const auto& one : study.explained.explanations) sum += one.probability;
  expect(sum <= 1 + 1e-6, "no more than all", study.why);
  if (study.verdict == inspection::Verdict::accept)
    expect(study.explained.hazards.empty(), "nothing overrides a hazard", study.why);
}

void study(const profile::Profile& profile, std::string_view input) {
  lever::RangeCode code = lever::code_of(profile);
  auto taps = lever::taps_of(profile, code);
  auto seen = seen_in(profile, code, taps, input);
  expect_study(lever::study_of(profile, std::move(code), std::move(taps), std::move(seen)));
}

}  // namespace

void try_observed(std::string_view input) {
  accepted([&] { study(six_speed(), input); }, kFile);
  if (four_speed().lever) accepted([&] { study(four_speed(), input); }, kFile);
}

}  // namespace pinproof::fuzz
