#include "lever/hazards.h"

#include <algorithm>

namespace pinproof::lever {
namespace {

// What a driving position, park or neutral is mistaken for.
void add_mistaken(const RangeCode& code, std::size_t position, const Word& word,
                  std::vector<Hazard>& out) {
  const auto read_as = code.decode(word);
  for (const std::size_t as : read_as) {
    const bool certain = read_as.size() == 1 && (~word.known & code.lines) == 0;
    const bool here = code.drives(position), there = code.drives(as);
    if (here && !there) out.push_back({Danger::start_in_gear, position, as, certain});
    if (!here && there) out.push_back({Danger::neutral_reads_gear, position, as, certain});
    if (here && there && code.reverse[position] != code.reverse[as])
      out.push_back({Danger::reverse_confused, position, as, certain});
  }
}

void add_contacts(const RangeCode& code, std::size_t position, const Word& word,
                  std::vector<Hazard>& out) {
  for (std::size_t k = 0; k < code.columns.size(); ++k) {
    const Mask bit = Mask{1} << k;
    const bool known = (word.known & bit) != 0, closed = (word.closed & bit) != 0;
    if (code.columns[k].role == Role::start_permit && code.drives(position) && (closed || !known))
      out.push_back({Danger::start_permit_in_gear, position, position, known});
    if (code.columns[k].role == Role::reverse && (!known || closed != code.reverse[position]))
      out.push_back({Danger::reverse_contact_wrong, position, position, known});
  }
}

bool by_contact(Danger danger) {
  return danger == Danger::start_permit_in_gear || danger == Danger::reverse_contact_wrong;
}

std::string sentence(const RangeCode& code, const Hazard& hazard, const std::string& positions) {
  const std::string lever = "lever in " + positions;
  const std::string reads =
      lever + (hazard.certain ? " reads " : " may read ") + code.positions[hazard.reads];
  const char* is = hazard.certain ? " is " : " may be ";
  switch (hazard.danger) {
    case Danger::start_in_gear:
      return reads + ": the engine can be started in gear";
    case Danger::start_permit_in_gear:
      return lever + ": the start-permit contact" + is +
             "closed, the engine can be started in gear";
    case Danger::neutral_reads_gear:
      return reads + ": a gear can engage while nobody expects it";
    case Danger::reverse_confused:
      return reads + ": it can drive off the wrong way";
    case Danger::reverse_contact_wrong:
      break;
  }
  return lever + ": the reverse contact" + is + "wrong, and with it the reversing lamp";
}

}  // namespace

std::string_view name_of(Danger danger) {
  switch (danger) {
    case Danger::start_in_gear:
      return "start-in-gear";
    case Danger::start_permit_in_gear:
      return "start-permit-in-gear";
    case Danger::neutral_reads_gear:
      return "neutral-reads-gear";
    case Danger::reverse_confused:
      return "reverse-confused";
    case Danger::reverse_contact_wrong:
      break;
  }
  return "reverse-contact-wrong";
}

std::vector<Hazard> hazards_of(const RangeCode& code, const std::vector<Word>& words) {
  std::vector<Hazard> out;
  for (std::size_t p = 0; p < words.size(); ++p) {
    add_mistaken(code, p, words[p], out);
    add_contacts(code, p, words[p], out);
  }
  return out;
}

bool silent(const RangeCode& code, const std::vector<Word>& words) {
  return std::all_of(words.begin(), words.end(),
                     [&](const Word& word) { return !code.decode(word).empty(); });
}

std::string text_of(const RangeCode& code, const Hazard& hazard) {
  return sentence(code, hazard, code.positions[hazard.position]);
}

std::vector<std::string> texts_of(const RangeCode& code, const std::vector<Hazard>& hazards) {
  std::vector<std::pair<Hazard, std::string>> groups;  // the first of each, and all its positions
  for (const Hazard& hazard : hazards) {
    const auto same = [&](const auto& group) {
      const bool contact = by_contact(hazard.danger);
      return group.first.danger == hazard.danger && group.first.certain == hazard.certain &&
             (contact || group.first.reads == hazard.reads);
    };
    const auto it = std::find_if(groups.begin(), groups.end(), same);
    if (it == groups.end())
      groups.emplace_back(hazard, code.positions[hazard.position]);
    else
      it->second += ", " + code.positions[hazard.position];
  }
  std::vector<std::string> out;
  for (const auto& [hazard, positions] : groups) out.push_back(sentence(code, hazard, positions));
  return out;
}

}  // namespace pinproof::lever
