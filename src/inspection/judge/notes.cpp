#include "inspection/judge/notes.h"

#include <algorithm>

#include "inspection/checks/check.h"
#include "quantity/text.h"

namespace pinproof::inspection {
namespace {

bool any_part(const profile::Profile& profile, auto&& test) {
  return std::any_of(profile.parts.begin(), profile.parts.end(), test);
}

// One line a check for what the plan could not do, not one a step.
void add_skipped(const Evidence& evidence, std::vector<std::string>& out) {
  for (const CheckKind* kind : check_kinds()) {
    std::vector<std::string> subjects;
    std::string reason;
    for (const record::Event& event : evidence.record().events) {
      const auto* skipped = std::get_if<record::Skipped>(&event);
      if (!skipped || skipped->key.check != kind->name || !evidence.skipped(skipped->key)) continue;
      if (std::find(subjects.begin(), subjects.end(), skipped->key.subject) == subjects.end())
        subjects.push_back(skipped->key.subject);
      reason = skipped->reason;
    }
    if (!subjects.empty())
      out.push_back(std::string(kind->heading) + " of " + list_of(subjects) + ": " + reason + ".");
  }
}

}  // namespace

std::vector<std::string> not_tested(const Evidence& evidence) {
  std::vector<std::string> out;
  const auto& profile = evidence.profile();
  if (!evidence.full())
    out.push_back(
        "No coil was driven: inductance, plunger motion, pull-in and release times, suppression "
        "and "
        "behaviour under load are unknown. This is a static inspection.");
  add_skipped(evidence, out);
  out.push_back(
      "Insulation was measured at the meter's few volts, not at a test voltage; and cold. "
      "Insulation that "
      "fails hot or at high voltage is not seen.");
  out.push_back(
      "Everything was measured at workshop temperature: joints and windings that open when hot are "
      "not seen.");
  if (any_part(profile, [](const auto& p) {
        return p.coil() && p.coil()->coil_class == profile::CoilClass::variable;
      }))
    out.push_back(
        "Variable-force coils: resistance, inductance and insulation only; pressure against "
        "current was not measured.");
  if (any_part(profile, [](const auto& p) { return p.pressure_switch(); }))
    out.push_back(
        "Pressure switches: closed under test air, open without; the trip and reset pressures were "
        "not measured.");
  out.push_back("Two equal coils that have changed places cannot be told apart electrically.");
  out.push_back(
      "Valves, bores, screens, seals and the hydraulic circuit. A sound pack does not prove them.");
  return out;
}

std::vector<std::string> cautions(const profile::Profile& profile) {
  std::vector<std::string> out{
      "Follow the maker's service information and the local rules for this work; they go before "
      "anything said here. "
      "Work on high-voltage or running vehicles is for qualified people only."};
  if (any_part(profile, [](const auto& p) { return p.coil(); }))
    out.push_back(
        "Coil heat: a coil left on at battery voltage can burn skin, insulation and plastic within "
        "seconds. "
        "Never bridge or bypass the supply's current limit.");
  if (any_part(profile, [](const auto& p) { return p.pressure_switch(); }))
    out.push_back(
        "Compressed air: wear eye protection, regulate the pressure, never point a jet at skin, "
        "and vent before "
        "taking a fitting off.");
  out.push_back("Hot oil: fluid and parts from a running vehicle can scald. Let them cool.");
  out.push_back(
      "Flammable cleaner: no solvent or spray near an energised coil, a relay or a spark; "
      "ventilate, and let the pack dry before testing.");
  if (profile.lever && !profile.lever->start_permit.empty())
    out.push_back(
        "Start in gear: a wrong range code or start-permit contact can let an engine start in "
        "gear. Before the first start after "
        "fitting, chock the wheels, hold the brake, and check that it starts in park and neutral "
        "only.");
  return out;
}

}  // namespace pinproof::inspection
