// A kind of check: what it wants measured, and what it makes of the answers.
// Adding one is one file in checks/ and one line in the table of checks.cpp.
#pragma once

#include <span>
#include <string_view>

#include "inspection/checks/evidence.h"
#include "inspection/checks/judgement.h"
#include "inspection/checks/plan.h"

namespace pinproof::inspection {

struct CheckKind {
  std::string_view name;     ///< stable, in records and reports: "coil-resistance"
  std::string_view heading;  ///< for people: "Coil resistance"
  bool driven;               ///< belongs to level full only
  void (*plan)(const profile::Profile& profile, const Capabilities& can, Plan& plan);
  /// May be null: steps that the answers so far call for.
  void (*follow_up)(const Evidence& evidence, const Capabilities& can, Plan& plan);
  void (*judge)(const Evidence& evidence, Judgement& out);
};

/// Why a step that ties pins together is left out, where the bench cannot.
inline constexpr const char* kNothingTies = "nothing here ties pins together";

std::span<const CheckKind* const> check_kinds();

extern const CheckKind kBenchCheck;
extern const CheckKind kTemperature;
extern const CheckKind kWires;
extern const CheckKind kCoilResistance;
extern const CheckKind kMatchedSet;
extern const CheckKind kCoilsTogether;
extern const CheckKind kInsulation;
extern const CheckKind kSwitches;
extern const CheckKind kLeverTable;
extern const CheckKind kThermistor;
extern const CheckKind kOtherParts;
extern const CheckKind kCoilDrive;
extern const CheckKind kDriveBench;
extern const CheckKind kHotMargin;
extern const CheckKind kLikeness;
extern const CheckKind kGearLoad;

}  // namespace pinproof::inspection
