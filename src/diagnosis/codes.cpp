#include "diagnosis/codes.h"

#include <algorithm>
#include <array>
#include <initializer_list>
#include <span>

#include "diagnosis/trouble_codes_text.h"

namespace pinproof::diagnosis {
namespace {

using profile::PartKind;

constexpr double kUnexplained = 0.05;  // a code that this fault would not set
constexpr double kExplained = 0.9;     // probability from which a fault is the answer
constexpr double kCleared = 0.02;      // of the faults that would set a code, by their rates
constexpr double kUnlikely = 0.1;      // probability below which a fault is no answer

std::vector<GenericTroubleCode> parse() {
  std::vector<GenericTroubleCode> out;
  std::string_view text(kTroubleCodes);
  while (!text.empty()) {
    const auto end = std::min(text.find('\n'), text.size());
    std::string_view line = text.substr(0, end);
    text.remove_prefix(std::min(end + 1, text.size()));
    if (!line.starts_with("P")) continue;
    std::array<std::string_view, 7> field;
    for (std::string_view& one : field) {
      const auto tab = std::min(line.find('\t'), line.size());
      one = line.substr(0, tab);
      line.remove_prefix(std::min(tab + 1, line.size()));
    }
    out.push_back({field[0], field[1], field[2], field[3], field[4], field[5]});
  }
  return out;
}

bool is_one_of(std::string_view word, std::span<const std::string_view> words) {
  return std::find(words.begin(), words.end(), word) != words.end();
}

bool is_one_of(std::string_view word, std::initializer_list<std::string_view> words) {
  return is_one_of(word, std::span(words.begin(), words.size()));
}

bool is_coil(const GenericTroubleCode& code) {
  return code.component.ends_with("solenoid") || code.component == "tcc";
}

// Parts of the profile that a code can be about.
bool belongs(const GenericTroubleCode& code, const profile::Part& part) {
  if (is_coil(code)) return part.kind() == PartKind::coil;
  if (code.component.starts_with("fluid_pressure_sensor")) return part.kind() == PartKind::switch_;
  if (is_one_of(code.component, {"range_sensor", "range_correlation", "park_neutral_switch",
                                 "drive_switch", "starter_disable", "reverse_input"}))
    return part.kind() == PartKind::contact;
  if (code.component == "fluid_temperature_sensor") return part.kind() == PartKind::thermistor;
  return false;
}

// The profile's own mapping first; without one, all parts of that kind.
std::vector<const profile::Part*> parts_of(const profile::Profile& profile,
                                           const GenericTroubleCode& code) {
  std::vector<const profile::Part*> out;
  for (const auto& own : profile.trouble_codes)
    if (own.code == code.code)
      if (const auto* part = profile.find_part(own.part)) out.push_back(part);
  if (!out.empty()) return out;
  for (const profile::Part& part : profile.parts)
    if (belongs(code, part)) out.push_back(&part);
  return out;
}

bool has_pin_of(const Suspect& suspect, const profile::Part& part) {
  return std::any_of(suspect.nodes.begin(), suspect.nodes.end(), [&](const std::string& node) {
    return node != profile::kCase && (node == part.between[0] || node == part.between[1]);
  });
}

enum class Pull { none, low, high, either };

constexpr std::array<std::string_view, 6> kOpening{"coil-open", "wire-open",  "lost-ground",
                                                   "pin-open",  "stuck-open", "thermistor-open"};
constexpr std::array<std::string_view, 4> kGround{"lost-ground", "high-resistance-ground",
                                                  "ground-film", "heating-ground"};
constexpr std::array<std::string_view, 3> kMisplaced{"swap", "mis-pinned-row",
                                                     "contaminated-connector"};
constexpr std::array<std::string_view, 2> kBetweenPins{"bridge", "leak"};

// A coil's line: its far end goes to the feed where the controller drives the low side, to ground
// where it drives the high side.
Pull pull_of_coil(const profile::Profile& profile, const profile::Part& part,
                  const Suspect& suspect, std::string_view kind) {
  const bool low_side = profile.drive == profile::Drive::low_side;
  const bool own = suspect.part == part.name;
  const bool far_end = low_side ? suspect.kind.starts_with("wire") : is_one_of(kind, kGround);
  if ((own || far_end) && is_one_of(kind, kOpening)) return low_side ? Pull::low : Pull::high;
  if (own && is_one_of(kind, {"coil-shorted", "shorted-turns"}))
    return low_side ? Pull::high : Pull::low;
  if (own && kind == "winding-to-case") return Pull::low;
  if (is_one_of(kind, kBetweenPins) && has_pin_of(suspect, part)) return Pull::either;
  return own || far_end ? Pull::either : Pull::none;
}

// A line that a contact or a thermistor pulls to ground: closed is low, open is high.
Pull pull_of_contact(const profile::Part& part, const Suspect& suspect, std::string_view kind) {
  const bool own = suspect.part == part.name;
  if (is_one_of(kind, kGround)) return Pull::high;
  if (own && is_one_of(kind, kOpening)) return Pull::high;
  if (own && is_one_of(kind, {"stuck-closed", "thermistor-shorted", "series-shorted"}))
    return Pull::low;
  if (kind == "pin-open" && has_pin_of(suspect, part)) return Pull::high;
  if (is_one_of(kind, kBetweenPins) && has_pin_of(suspect, part)) return Pull::low;
  return own ? Pull::either : Pull::none;
}

// To where a fault pulls the controller's line of this part.
Pull pull_of(const profile::Profile& profile, const profile::Part& part, const Suspect& suspect,
             double size) {
  const std::string_view kind = suspect.kind_at(size);
  if (is_one_of(kind, kMisplaced)) return has_pin_of(suspect, part) ? Pull::either : Pull::none;
  return part.kind() == PartKind::coil ? pull_of_coil(profile, part, suspect, kind)
                                       : pull_of_contact(part, suspect, kind);
}

bool electrical(const GenericTroubleCode& code) {
  return is_one_of(code.kind, {"low", "high", "open", "electrical", "circuit_or_malfunction",
                               "malfunction", "intermittent", "range_performance"});
}

std::string names_of(const std::vector<const profile::Part*>& parts) {
  std::string out;
  for (const auto* part : parts) out += (out.empty() ? "" : ", ") + part->name;
  return out;
}

std::vector<std::string> left_for(const GenericTroubleCode& code) {
  if (code.kind == "range_performance") {
    if (code.component.starts_with("fluid_pressure_sensor"))
      return {"hydraulics: the switch told the truth", "the ground between pack and controller",
              "harness"};
    if (is_coil(code))
      return {"hydraulics and plunger motion", "feed drop or ground offset under load",
              "driver current"};
    return {"lever adjustment", "harness", "controller"};
  }
  if (is_one_of(code.kind, {"performance_stuck_off", "stuck_on"}))
    return {"valve, debris or plunger motion", "line pressure"};
  return {"harness: pins, wires, connector", "ground or feed of the harness",
          "controller's driver"};
}

std::string test_for(const GenericTroubleCode& code) {
  if (code.kind == "intermittent")
    return "hold readings while the connector and the harness are moved and the pack is warmed";
  if (is_one_of(code.kind, {"performance_stuck_off", "stuck_on"}) ||
      (is_coil(code) && code.kind == "range_performance"))
    return "drive the coil and look for the plunger's dip (pinproof inspect at level full); then "
           "pressure or flow";
  if (code.component.starts_with("fluid_pressure_sensor"))
    return "air at the switch's element, line to case, and the ground pin to case under load";
  return "the readings that diagnose asks for next";
}

struct Mass {
  double explaining = 0;  // probability of faults that would set the code
  double before = 0;      // and before any reading
  double uncleared = 0;   // of these, what the readings would not have shown
  double other = 0;       // of other faults
};

Mass mass_of(const profile::Profile& profile, const std::vector<Suspect>& suspects,
             const Ranking& ranking, const std::vector<bool>& cleared,
             const GenericTroubleCode& code) {
  Mass out;
  for (const Explanation& one : ranking.explanations) {
    if (one.faults.empty()) continue;
    const bool sets = std::any_of(one.faults.begin(), one.faults.end(), [&](const Guess& guess) {
      return explains(profile, code, *guess.suspect, guess.size);
    });
    (sets ? out.explaining : out.other) += one.probability;
  }
  for (std::size_t s = 0; s < suspects.size(); ++s)
    if (explains(profile, code, suspects[s], suspects[s].stated.front())) {
      out.before += ranking.suspect_before[s];
      if (!cleared[s]) out.uncleared += ranking.suspect_before[s];
    }
  return out;
}

}  // namespace

std::span<const GenericTroubleCode> code_table() {
  static const std::vector<GenericTroubleCode> table = parse();
  return table;
}

const GenericTroubleCode* find_code(std::string_view code) {
  const auto table = code_table();
  const auto it = std::find_if(table.begin(), table.end(),
                               [&](const GenericTroubleCode& one) { return one.code == code; });
  return it == table.end() ? nullptr : &*it;
}

bool explains(const profile::Profile& profile, const GenericTroubleCode& code,
              const Suspect& suspect, double size) {
  if (!electrical(code)) return false;
  if (code.component == "actuator_supply" || code.component == "controller_power_input")
    return suspect.kind.starts_with("wire") || suspect.kind == "coil-shorted";
  const auto parts = parts_of(profile, code);
  return std::any_of(parts.begin(), parts.end(), [&](const profile::Part* part) {
    const Pull pull = pull_of(profile, *part, suspect, size);
    if (pull == Pull::none) return false;
    if (code.kind == "low") return pull == Pull::low || pull == Pull::either;
    if (code.kind == "high") return pull == Pull::high || pull == Pull::either;
    if (code.kind == "open") return suspect.kind.ends_with("open") || suspect.kind == "lost-ground";
    return true;
  });
}

std::vector<double> code_weights(const profile::Profile& profile,
                                 const std::vector<Suspect>& suspects,
                                 const std::vector<std::string>& codes) {
  std::vector<double> out(suspects.size(), 1);
  for (const std::string& name : codes) {
    const GenericTroubleCode* code = find_code(name);
    if (!code || !electrical(*code)) continue;
    for (std::size_t s = 0; s < suspects.size(); ++s)
      if (!explains(profile, *code, suspects[s], suspects[s].stated.front()))
        out[s] *= kUnexplained;
  }
  return out;
}

std::string_view name_of(CodeStanding standing) {
  switch (standing) {
    case CodeStanding::explained:
      return "explained-by-the-pack";
    case CodeStanding::second_cause:
      return "second-cause-likely";
    case CodeStanding::exonerated:
      return "pack-exonerated";
    case CodeStanding::not_settled:
      return "not-settled";
    case CodeStanding::not_electrical:
      return "not-electrical";
    case CodeStanding::unknown:
      break;
  }
  return "unknown-code";
}

CodeVerdict judge_code(const profile::Profile& profile, const std::vector<Suspect>& suspects,
                       const Ranking& ranking, const std::vector<bool>& cleared,
                       const std::string& name) {
  CodeVerdict out;
  out.code = name;
  const GenericTroubleCode* code = find_code(name);
  if (!code) {
    out.why = "not in the table of generic transmission codes: see the maker's service information";
    return out;
  }
  out.meaning = code->meaning;
  const auto parts = parts_of(profile, *code);
  for (const auto* part : parts) out.parts.push_back(part->name);
  const bool mechanical = is_one_of(code->kind, {"performance_stuck_off", "stuck_on"});
  if ((!electrical(*code) && !mechanical) || (parts.empty() && code->bench == "none")) {
    out.standing = CodeStanding::not_electrical;
    out.why = "an electrical test of the pack says nothing about it";
    out.left = {"clutches, pump, valves", "at most a coil fault would suffice to set it"};
    return out;
  }
  const Mass mass = mass_of(profile, suspects, ranking, cleared, *code);
  out.left = left_for(*code);
  if (mechanical) {
    out.standing = CodeStanding::not_settled;
    out.why = mass.other + mass.explaining < kUnlikely && ranking.readings > 0
                  ? "the coil is electrically sound as far as it was measured; its plunger and "
                    "valve were not seen"
                  : "resistance alone does not tell whether a valve moves";
    out.test = test_for(*code);
  } else if (mass.explaining > kExplained) {
    out.standing = CodeStanding::explained;
    out.why = "the fault that was found would set it";
    out.left.clear();
  } else if (ranking.readings > 0 && mass.other > kExplained) {
    out.standing = CodeStanding::second_cause;
    out.why = "the fault that was found would not set this code: a second cause is likely";
    out.test = test_for(*code);
  } else if (ranking.readings > 0 && mass.uncleared < kCleared * mass.before &&
             mass.explaining < kUnlikely && code->kind != "intermittent") {
    out.standing = CodeStanding::exonerated;
    out.why = "no fault that would set it is left in the pack (" + names_of(parts) +
              ") at the states and limits that were measured";
    if (code->kind == "range_performance")
      out.why +=
          "; a range or performance code with an electrically sound pack points to "
          "hydraulics and plunger motion";
  } else {
    out.standing = CodeStanding::not_settled;
    out.why = code->kind == "intermittent"
                  ? "an intermittent fault is cleared by no reading at rest"
                  : "faults that would set it have not been ruled out";
    out.test = test_for(*code);
  }
  return out;
}

}  // namespace pinproof::diagnosis
