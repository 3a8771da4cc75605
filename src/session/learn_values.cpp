#include "session/learn_values.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "inspection/judge/judge.h"
#include "inspection/judge/judged.h"
#include "network/reach.h"
#include "quantity/text.h"

namespace pinproof::session {
namespace {

/// Which check judges a limit of the profile, and how it is called for a person.
struct JudgedLimit {
  std::string_view key, check, title;
  Unit unit;
};
constexpr std::array<JudgedLimit, 5> kJudgedLimits{
    {{findings::kResistance, "coil-resistance", "resistance at ", Unit::ohm},
     {findings::kInductance, "coil-drive", "inductance, plunger at rest", Unit::henry},
     {findings::kPullIn, "coil-drive", "time to seating", Unit::second},
     {findings::kRelease, "coil-drive", "time to release", Unit::second},
     {findings::kPullInCurrent, "coil-drive", "current at which the plunger starts",
      Unit::ampere}}};

}  // namespace

Gathered gathered(const profile::Profile& profile, const profile::LimitPlace& place,
                  std::size_t lots) {
  const profile::Part& part = profile.parts[place.part];
  const JudgedLimit& limit =
      *std::find_if(kJudgedLimits.begin(), kJudgedLimits.end(),
                    [&](const JudgedLimit& one) { return one.key == place.key; });
  Gathered out;
  out.place = place;
  out.id = {std::string(limit.check), part.name, std::string(limit.key)};
  out.unit = limit.unit;
  out.title = "Coil " + part.name + ": " + std::string(limit.title);
  if (!part.coil()) {
    out.id.check = "other-part";
    out.title = std::string(name_of(part.kind())) + " " + part.name;
  }
  if (const auto leads = network::leads_of(profile, part); leads && limit.unit == Unit::ohm)
    out.wires_max_ohm = leads->wires_max_ohm;
  if (part.coil() && limit.unit == Unit::ohm) {
    out.id.aspect = findings::resistance_at(part.coil()->resistance_celsius);
    out.title += format_si(part.coil()->resistance_celsius, Unit::celsius, 2);
  }
  out.lots.resize(lots);
  return out;
}

void Values::read(const record::Attempt& attempt, std::size_t lot, std::vector<Gathered>& all) {
  auto figures = ledger_.figures(attempt.id);
  const auto known = [&](const Gathered& g) {
    return std::any_of(figures.begin(), figures.end(), [&](const auto& f) { return g.is(f); });
  };
  if (!std::all_of(all.begin(), all.end(), known)) judge_again(attempt, figures);
  for (Gathered& g : all) {
    const auto f = std::find_if(figures.begin(), figures.end(),
                                [&](const record::Figure& one) { return g.is(one); });
    if (f == figures.end()) continue;
    if (!f->value || !std::isfinite(*f->value)) {
      ++g.without_value;
      continue;
    }
    g.lots[lot].push_back(*f->value), g.u.push_back(f->u);
    g.evidence.push_back(attempt.id + " " + exact(*f->value) + "\n");
  }
}
void Values::judge_again(const record::Attempt& attempt, std::vector<record::Figure>& figures) {
  const auto record = ledger_.load(attempt.id);
  auto now = inspection::judged_of(inspection::judge(open_, record), profile_.hash, "").figures;
  figures.insert(figures.end(), now.begin(), now.end());  // what was kept goes first
  ++judged;
}

}  // namespace pinproof::session
