#include <algorithm>
#include <cstdio>

#include "quantity/lines.h"
#include "quantity/text.h"
#include "report/lever.h"

namespace pinproof::report {
namespace {

using lever::Mask;
using lever::RangeCode;
using lever::Study;
using lever::Word;

std::string head_of(const lever::Column& column) {
  if (column.role == lever::Role::start_permit) return "permit";
  if (column.role == lever::Role::reverse) return "rev";
  return harmless(column.contact);
}

// What a controller takes the seen code for.
std::string reads(const RangeCode& code, const Word& word) {
  if ((word.known & code.lines) == 0) return "-";
  std::string out;
  for (const std::size_t p : code.decode(word))
    out += (out.empty() ? "" : " or ") + harmless(code.positions[p]);
  return out.empty() ? "no code" : out;
}

char cell(const Word& word, Mask weak, std::size_t column) {
  const Mask bit = Mask{1} << column;
  if ((weak & bit) != 0) return 'w';
  if ((word.known & bit) == 0) return '.';
  return (word.closed & bit) != 0 ? '0' : '1';
}

void add_table(const Study& study, std::string& out) {
  const RangeCode& code = study.code;
  std::size_t width = 5;
  for (const auto& name : code.positions) width = std::max(width, columns(name) + 1);
  out += "\n  " + padded("lever", width);
  for (const auto& column : code.columns)
    out += " " + padded(head_of(column), std::max<std::size_t>(2, columns(head_of(column))));
  out += "  reads\n";
  for (std::size_t p = 0; p < code.positions.size(); ++p) {
    const Word& word = study.seen.observed.words[p];
    const Mask weak = study.seen.observed.weak[p];
    out += "  " + padded(harmless(code.positions[p]), width);
    for (std::size_t k = 0; k < code.columns.size(); ++k) {
      const char seen = cell(word, weak, k);
      const bool wrong = seen == 'w' || (seen != '.' && seen != cell(code.words[p], 0, k) &&
                                         cell(code.words[p], 0, k) != '.');
      const std::string text = std::string(1, seen) + (wrong ? "!" : "");
      out += " " + padded(text, std::max<std::size_t>(2, columns(head_of(code.columns[k]))));
    }
    const std::string read = reads(code, word);
    const bool odd = (word.known & code.lines) == code.lines && read != harmless(code.positions[p]);
    out += "  " + read + (odd ? " !" : "") + "\n";
  }
  out += "  1 open, 0 closed, w neither, . not read, ! not as the table says\n";
}

// Between two positions nothing is wrong with a word that is no code.
std::string stood_at(const RangeCode& code, const Word& word) {
  const auto between = code.between_of(word);
  return between ? "between " + harmless(code.positions[*between]) + " and " +
                       harmless(code.positions[*between + 1])
                 : reads(code, word);
}

void add_walk(const Study& study, std::string& out) {
  if (study.walk.empty()) return;
  out += "\nThe lever stood\n";
  for (const auto& one : study.walk) {
    char text[96];
    std::snprintf(text, sizeof text, "  %7.1f s  %s  %s%s\n", one.from_s,
                  study.code.text(one.word, false).c_str(), stood_at(study.code, one.word).c_str(),
                  one.bounces > 0 ? (", " + std::to_string(one.bounces) + " bounces").c_str() : "");
    out += text;
  }
}

// wrap() with the bar before every line.
void barred(std::string& out, const std::string& first, const std::string& text) {
  std::string lines;
  wrap(lines, first, text);
  for (std::size_t at = 0; at < lines.size(); at = lines.find('\n', at) + 1) {
    if (lines.compare(at, 2, "  ") == 0) lines.replace(at, 2, "##");
    if (lines.find('\n', at) == std::string::npos) break;
  }
  out += lines;
}

// Nobody shall overlook this.
void add_hazards(const Study& study, std::string& out) {
  if (study.explained.hazards.empty()) return;
  const std::string bar(kWidth - 2, '#');
  out += "\n" + bar + "\n";
  out += "## DANGER: DO NOT FIT THIS PACK, DO NOT START THE ENGINE WITH THIS HARNESS\n##\n";
  for (const std::string& text : lever::texts_of(study.code, study.explained.hazards))
    barred(out, "## - ", harmless(text) + ".");
  out += "##\n";
  barred(out, "## ",
         "Somebody can be run over. Block the wheels, keep the starter disconnected, and have a "
         "qualified person find the cause by the maker's service information.");
  out += bar + "\n";
}

void add_explanations(const Study& study, std::string& out) {
  const auto& all = study.explained.explanations;
  if (study.explained.faults == 0) return;
  constexpr std::size_t kMost = 8;
  if (!study.explained.gone_past.empty())
    out += "\nWhat may explain it if the lever did stop there, likeliest first\n";
  else
    out += all.size() == 1 ? "\nWhat explains it\n" : "\nWhat may explain it, likeliest first\n";
  for (std::size_t k = 0; k < std::min(all.size(), kMost); ++k) {
    char share[16];
    std::snprintf(share, sizeof share, "  %3.0f %%  ", 100 * all[k].probability);
    std::string text = harmless(study.texts[k]);
    if (all[k].silent) text += ". No invalid code in any position: a controller cannot notice";
    if (!all[k].alike.empty())
      text += ". The same wiring has " + std::to_string(all[k].alike.size()) + " other names";
    wrap(out, share, text);
  }
  if (all.size() > kMost)
    out += "  and " + std::to_string(all.size() - kMost) + " more (--json lists them)\n";
  if (study.explained.next)
    wrap(out, "  ",
         "Read position " + harmless(study.code.positions[study.explained.next->position]) +
             " next: it tells most of these apart.");
}

}  // namespace

std::string lever_text(const std::string& profile_name, const Study& study,
                       const lever::GearStudy* gears) {
  std::string out;
  wrap(out, "", harmless(profile_name) + ": lever and range code");
  const auto worse = gears ? inspection::worse(study.verdict, gears->verdict) : study.verdict;
  std::string verdict(name_of(worse));
  std::transform(verdict.begin(), verdict.end(), verdict.begin(),
                 [](char c) { return static_cast<char>(std::toupper(c)); });
  std::string why = study.why;
  if (worse != study.verdict)
    why = "By the gear table; the lever alone: " + std::string(name_of(study.verdict)) + ". " + why;
  wrap(out, "Verdict: " + verdict + " (static)  ", harmless(why));
  add_hazards(study, out);
  add_table(study, out);
  add_walk(study, out);
  add_explanations(study, out);
  for (const std::string& remark : study.seen.remarks) wrap(out, "\nNote: ", harmless(remark));
  const bool permit =
      std::any_of(study.code.columns.begin(), study.code.columns.end(),
                  [](const auto& column) { return column.role == lever::Role::start_permit; });
  if (!permit) wrap(out, "\nNot judged: ", "this profile has no start-permit contact.");
  return out;
}

}  // namespace pinproof::report
