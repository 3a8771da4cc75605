#include "record/words_0_1_0.h"

#include <algorithm>
#include <array>
#include <utility>

#include "findings/ids.h"

namespace pinproof::record {
namespace {

using Words = std::pair<std::string_view, std::string_view>;  // a title's end, its aspect

constexpr std::array kOfDrivenCoils{
    Words{"resistance under load against at rest", "resistance-under-load"},
    Words{"inductance, plunger at rest", findings::kInductance},
    Words{"plunger moves", "plunger"},
    Words{"time to seating", findings::kPullIn},
    Words{"current at which the plunger starts", findings::kPullInCurrent},
    Words{"time to release", findings::kRelease},
    Words{"suppression at switch-off", "suppression"},
    Words{"driven", "driven"}};
constexpr std::array kOfBenches{Words{"Leads shorted", "shorted"},
                                Words{"Leads open", "open"},
                                Words{"Reference resistor", "reference"},
                                Words{"High reference resistor", "high reference"},
                                Words{"All relays of the high lead open", "high relays"},
                                Words{"All relays of the low lead open", "low relays"},
                                Words{"Relays of the other rows open", "rows"},
                                Words{"Relays close at every terminal", "closing"}};
constexpr std::array kOfSwitches{Words{"at rest", "rest"}, Words{"after venting", "vented"}};
constexpr std::array kUnderLoad{
    Words{"Current under load against resistance at rest, all coils", "current"},
    Words{"Supply voltage in the pulses against what was set", "voltage"}};

template <std::size_t n>
std::string_view look_up(const std::array<Words, n>& table, std::string_view words) {
  const auto at =
      std::find_if(table.begin(), table.end(), [&](const Words& w) { return w.first == words; });
  return at == table.end() ? std::string_view() : at->second;
}

// "Coil A: time to seating" of subject "A" -> "time to seating".
std::string_view behind(std::string_view title, std::string_view subject) {
  const std::string start = std::string(subject) + ": ";
  const auto at = title.find(start);
  return at == std::string_view::npos ? std::string_view() : title.substr(at + start.size());
}

bool drop_start(std::string_view& text, std::string_view start) {
  if (!text.starts_with(start)) return false;
  text.remove_prefix(start.size());
  return true;
}

bool drop_end(std::string_view& text, std::string_view end) {
  if (!text.ends_with(end)) return false;
  text.remove_suffix(end.size());
  return true;
}

std::string of_bench(std::string_view title) {
  const bool after = drop_end(title, ", after");
  if (!after) drop_end(title, ", before");
  const std::string_view aspect = look_up(kOfBenches, title);
  return aspect.empty() ? "" : std::string(aspect) + (after ? " after" : "");
}

// "resistance at 25 °C" -> "resistance_ohm@25". The temperature had two digits, as it was shown.
std::string of_coil(std::string_view words) {
  if (!drop_start(words, "resistance at ") || !drop_end(words, " °C")) return "";
  return words == "20" ? findings::kResistance
                       : std::string(findings::kResistance) + "@" + std::string(words);
}

// "pulls in at 120 °C and 9 V" -> "pulls-in-hot@120,9".
std::string of_hot_margin(std::string_view words) {
  if (!drop_start(words, "pulls in at ") || !drop_end(words, " V")) return "";
  const std::string_view between = " °C and ";
  const auto at = words.find(between);
  if (at == std::string_view::npos) return "";
  return "pulls-in-hot@" + std::string(words.substr(0, at)) + "," +
         std::string(words.substr(at + between.size()));
}

std::string of_switch(std::string_view words) {
  if (words.starts_with("under air at ")) return "pressed";
  return std::string(look_up(kOfSwitches, words));
}

// "Lever P: range A, range B" -> "P"; a position's name may hold a colon, contacts' names too: the
// first that leaves both sides something.
std::string of_lever(std::string_view title) {
  if (!drop_start(title, "Lever ")) return "";
  return std::string(title.substr(0, title.find(": ")));
}

std::string of_gear(std::string_view words) {
  return drop_end(words, " under load") ? std::string(words) : "";
}

}  // namespace

findings::Ending ending_of_0_1_0(std::string_view why) {
  if (why.starts_with("stopped")) return findings::Ending::stopped;
  if (why == "the bench did not pass its self-check") return findings::Ending::bench_unproven;
  return findings::Ending::bench_failed;
}

findings::SkipReason skip_reason_of_0_1_0(std::string_view reason) {
  if (reason == "taken back, to be read again") return findings::SkipReason::taken_back;
  if (reason == "nothing here ties pins together") return findings::SkipReason::no_ties;
  if (reason == "this bench has no reference resistor: a drifted meter is not noticed" ||
      reason ==
          "this bench has no reference of megohms: a meter that stays in a low range is not "
          "noticed")
    return findings::SkipReason::no_reference;
  return findings::SkipReason::other;
}

std::string aspect_of_0_1_0(std::string_view check, std::string_view subject,
                            std::string_view title) {
  if (check == "insulation" || check == "temperature" || check == "thermistor" ||
      check == "coils-together")
    return "";  // one figure a subject
  if (check == "matched-set") return "spread";
  if (check == "coil-likeness") return "like-sisters";
  if (check == "wire" || check == "other-part") return findings::kResistance;
  const std::string_view words = behind(title, subject);
  std::string out;
  if (check == "coil-resistance") out = of_coil(words);
  if (check == "coil-drive") out = look_up(kOfDrivenCoils, words);
  if (check == "bench-check") out = of_bench(title);
  if (check == "drive-bench") out = look_up(kUnderLoad, title);
  if (check == "pressure-switch") out = of_switch(words);
  if (check == "lever-table") out = of_lever(title);
  if (check == "gear-load") out = of_gear(words);
  if (check == "coil-hot-margin") out = of_hot_margin(words);
  return out.empty() ? std::string(title) : out;
}

}  // namespace pinproof::record
