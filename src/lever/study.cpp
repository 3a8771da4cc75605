#include "lever/study.h"

#include <algorithm>

namespace pinproof::lever {
namespace {

using inspection::Verdict;

std::string text_of(const Ground& ground, const std::vector<LineFault>& faults) {
  std::string out;
  for (const LineFault& fault : faults)
    out += (out.empty() ? "" : "; and ") + text_of(ground, fault);
  return out.empty() ? "nothing is wrong" : out;
}

std::string not_stood(const Study& study) {
  std::string out = "Every word that stood is right, but the lever did not stop both ways in ";
  for (const std::size_t p : study.explained.gone_past)
    out += (p == study.explained.gone_past.front() ? "" : ", ") + study.code.positions[p];
  return out + ": gone past, or a fault. Walk again and stop longer, or without --free.";
}

void judge(Study& study) {
  const Explained& e = study.explained;
  // Where nobody may have stopped there is no reading to reject by: another walk tells.
  const bool stopped = e.gone_past.empty();
  const bool fault = stopped && (e.explanations.empty() || e.faults > 0);
  study.verdict = fault ? Verdict::reject : e.complete ? Verdict::accept : Verdict::hold;
  if (!stopped)
    study.why = not_stood(study);
  else if (e.explanations.empty())
    study.why = "No few faults of the list explain what was seen.";
  else if (e.faults > 0)
    study.why = e.explanations.size() == 1
                    ? "One explanation: " + study.texts.front() + "."
                    : std::to_string(e.explanations.size()) + " explanations remain.";
  else if (e.complete)
    study.why = "Every contact reads right in every position.";
  else
    study.why = "All is right so far, and not every contact was read in every position.";
  if (e.hazards.empty()) return;
  if (stopped) study.verdict = Verdict::reject;
  study.why = (stopped ? "HAZARD. " : "HAZARD, if it is a fault. ") + study.why;
}

void finish(const Ground& ground, Study& study) {
  for (const LineExplanation& one : study.explained.explanations)
    study.texts.push_back(text_of(ground, one));
  judge(study);
}

// Which position each word of a walk belongs to, by what the best explanation foretells.
void place(const RangeCode& code, const std::vector<LeverStop>& walk, const Explained& explained,
           RemarkedTaps& seen) {
  seen.observed = nothing_of(code);
  const bool stopped = explained.gone_past.empty();
  if (stopped && explained.explanations.empty()) return;
  const auto& words = stopped ? explained.explanations.front().words : code.words;
  for (std::size_t p = 0; p < words.size(); ++p)
    for (const LeverStop& one : walk)
      if (agree(one.word, words[p])) seen.observed.words[p] = one.word;
}

// It stood in a position, whichever, and not every contact there read open or closed.
bool unread(const RangeCode& code, const LeverStop& one) {
  return !one.positions.empty() &&
         std::all_of(one.positions.begin(), one.positions.end(),
                     [&](std::size_t p) { return (code.readable(p) & ~one.word.known) != 0; });
}

}  // namespace

std::string text_of(const Ground& ground, const LineExplanation& explanation) {
  return text_of(ground, explanation.faults);
}

Study study_of(const profile::Profile& profile, RangeCode code, std::vector<Tap> taps,
               RemarkedTaps seen) {
  Study out;
  out.code = std::move(code), out.taps = std::move(taps), out.seen = std::move(seen);
  const Ground ground(out.code, out.seen.observed, &profile);
  out.explained = explain(ground, out.seen.observed);
  finish(ground, out);
  return out;
}

Study study_of(const profile::Profile& profile, RangeCode code, std::vector<Tap> taps,
               std::vector<LeverStop> walk) {
  Study out;
  out.code = std::move(code), out.taps = std::move(taps), out.walk = std::move(walk);
  const Ground ground(out.code, nothing_of(out.code), &profile);
  std::vector<Word> words;
  for (const LeverStop& one : out.walk) words.push_back(one.word);
  out.explained = explain_walk(ground, words, true);
  place(out.code, out.walk, out.explained, out.seen);
  // A contact that read neither open nor closed is no bit of any word: not all was seen.
  for (std::size_t p = 0; p < out.code.positions.size(); ++p)
    if ((out.code.readable(p) & ~out.seen.observed.words[p].known) != 0)
      out.explained.complete = false;
  // Nor is it right where it read so once and otherwise the next time.
  if (std::any_of(out.walk.begin(), out.walk.end(),
                  [&](const LeverStop& one) { return unread(out.code, one); }))
    out.explained.complete = false;
  finish(ground, out);
  return out;
}

}  // namespace pinproof::lever
