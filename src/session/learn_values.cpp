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

/// How a limit of the profile is called where it is judged.
struct Kind {
  std::string_view key, check, title;
  Unit unit;
};
constexpr std::array<Kind, 5> kKinds{
    {{"resistance_ohm", "coil-resistance", "resistance at ", Unit::ohm},
     {"inductance_H", "coil-drive", "inductance, plunger at rest", Unit::henry},
     {"pull_in_s", "coil-drive", "time to seating", Unit::second},
     {"release_s", "coil-drive", "time to release", Unit::second},
     {"pull_in_current_A", "coil-drive", "current at which the plunger starts", Unit::ampere}}};

}  // namespace

Gathered gathered(const profile::Profile& profile, const profile::LimitPlace& place,
                  std::size_t lots) {
  const profile::Part& part = profile.parts[place.part];
  const Kind& kind = *std::find_if(kKinds.begin(), kKinds.end(),
                                   [&](const Kind& k) { return k.key == place.key; });
  Gathered out{place, std::string(kind.check), part.name, "", kind.unit, 0, {}, {}, {}, 0};
  out.title = "Coil " + part.name + ": " + std::string(kind.title);
  if (!part.coil())
    out.check = "other-part", out.title = std::string(name_of(part.kind())) + " " + part.name;
  if (const auto leads = network::leads_of(profile, part); leads && kind.unit == Unit::ohm)
    out.wires_max_ohm = leads->wires_max_ohm;
  if (part.coil() && kind.unit == Unit::ohm)
    out.title += format_si(part.coil()->resistance_celsius, Unit::celsius, 2);
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
