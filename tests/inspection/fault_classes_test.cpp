// Every fault class of a pack at its stated size, on every profile that can have
// it, is never accepted. Values and faults are the simulator's own; seeds are
// fixed. Sizes from the detection limit up, and faults of the bench: tests/campaign.
#include <doctest/doctest.h>

#include <algorithm>
#include <cstdio>

#include "inspection/rig.h"
#include "simulated/faults.h"

using namespace pinproof;
using inspection::Verdict;

namespace {

constexpr const char* kProfiles[] = {"six-speed-20-pin", "four-speed-13-pin"};

std::string first_trouble(const tests::Inspected& pack) {
  for (const auto& r : pack.judgement.results)
    if (r.outcome != inspection::Outcome::pass && r.required) return r.title + ": " + r.text;
  return pack.judgement.why;
}

const profile::Part* part_for(const profile::Profile& profile, const std::string& fault_class,
                              std::string_view applies_to) {
  const profile::Part* found = nullptr;
  for (const auto& part : profile.parts) {
    const bool kind = applies_to == "coil"
                          ? part.coil() && (part.coil()->coil_class == profile::CoilClass::on_off)
                      : applies_to == "wire"       ? part.wire() != nullptr
                      : applies_to == "thermistor" ? part.thermistor() != nullptr
                                                   : part.pressure_switch() || part.contact();
    if (!kind) continue;
    if (fault_class.starts_with("suppression") &&
        part.coil()->suppression.kind == profile::SuppressionKind::none)
      continue;
    if (fault_class.starts_with("series") &&
        !(part.pressure_switch() ? part.pressure_switch()->series_ohm : part.contact()->series_ohm))
      continue;
    if ((fault_class == "case-leak" || fault_class == "hot-insulation") &&
        part.between[1] == profile::kCase)
      continue;
    if (fault_class == "trip-high" && !part.pressure_switch()) continue;
    found = &part;
    if (part.pressure_switch() || part.coil()) break;
  }
  return found;
}

// Each class on this profile: on every wire, or on one part or pin; empty where
// the profile cannot have it.
std::string one_text(const profile::Profile& profile, const simulated::FaultClass& kind) {
  const std::string name(kind.name);
  const auto& pins = profile.connector.pins;
  if (kind.applies_to == "pack")
    return "pack: " + name +
           (name == "mis-pinned" ? " " + pins[8].number + "-" + pins[11].number : "");
  if (kind.applies_to == "pin") {
    const std::string other = name == "bridge" || name == "leak" ? " " + pins[9].number
                              : name == "swap"                   ? " " + pins[1].number
                                                                 : "";
    return "pin " + pins[8].number + ": " + name + other;
  }
  const profile::Part* part = part_for(profile, name, kind.applies_to);
  if (!part) return "";
  return std::string(name_of(part->kind())) + " " + part->name + ": " + name;
}

std::vector<std::string> fault_texts(const profile::Profile& profile,
                                     const simulated::FaultClass& kind) {
  // Air that leaks from one element to another is the valve body's fault: pinproof lever --gears.
  if (kind.name == "air-leak") return {};
  // And a contact that opens now and then is for the lever test, which looks longer.
  if (kind.name == "intermittent" && kind.applies_to == "contact") return {};
  if (kind.applies_to == "bench") return {};
  std::vector<std::string> out;
  if (kind.applies_to == "wire") {
    for (const auto& part : profile.parts)
      if (part.wire()) out.push_back("wire " + part.name + ": " + std::string(kind.name));
  } else if (std::string text = one_text(profile, kind); !text.empty()) {
    out.push_back(std::move(text));
  }
  return out;
}

}  // namespace

TEST_CASE("every fault class at its stated size of a pack is rejected or held, never accepted") {
  int tried = 0;
  for (const char* name : kProfiles) {
    const auto profile = tests::load(name);
    std::printf("%s\n", name);
    for (const auto& kind : simulated::fault_classes()) {
      for (const std::string& text : fault_texts(profile, kind))
        for (std::uint64_t seed = 1; seed <= 2; ++seed) {
          const auto pack = tests::inspect(profile, seed, {text});
          ++tried;
          const auto& findings = pack.judgement.findings;
          if (seed == 1)
            std::printf(
                "  %-38s %-7s exit %d  %s\n", text.c_str(),
                std::string(name_of(pack.judgement.verdict)).c_str(), pack.exit_code,
                findings.empty() ? first_trouble(pack).c_str() : findings.front().kind.c_str());
          INFO(text, " seed ", seed);
          CHECK(pack.judgement.verdict != Verdict::accept);
        }
    }
  }
  CHECK(tried > 120);
}
