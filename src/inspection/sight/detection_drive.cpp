// What only a driven coil shows. Coils of one shape move alike, so that what a weak spring does to
// one it does to all: how far the figures of a plunger move is a table here, worked through for
// coils of 13, 19 and 24 ohm, the least effect of them all.
#include <algorithm>
#include <cmath>
#include <optional>
#include <span>

#include "inspection/sight/detection_scene.h"
#include "metrology/copper.h"

namespace pinproof::inspection::detecting {
namespace {

using profile::Part;

constexpr double kLoadShare = 0.06;     // resistance under load against at rest: its limit and U
constexpr double kPlunger_U = 0.03;     // U of the plunger's current and time, relative
constexpr double kInductance_U = 0.05;  // of the inductance, the model's share included
constexpr double kMagnetShare = 0.97;   // of the inductance: the rest is leakage

// By the fault's size, the figure against that of the same coil without it.
struct Moved {
  double size, ratio;
};
constexpr Moved kSpringCurrent[] = {{60, 0.864}, {70, 0.837}, {75, 0.823},
                                    {80, 0.810}, {85, 0.796}, {90, 0.778}};
constexpr Moved kMagnetCurrent[] = {{20, 1.081}, {30, 1.131}, {40, 1.188},
                                    {45, 1.219}, {50, 1.253}, {60, 1.327}};
constexpr Moved kStickyTime[] = {{10, 1.083}, {20, 1.184}, {30, 1.284},
                                 {40, 1.378}, {60, 1.554}, {90, 1.790}};

// The size that moves a figure from one end of its limits beyond the other; infinite where the
// limits are too wide for any.
double size_for(std::span<const Moved> table, const Interval& limit) {
  const bool falls = table.back().ratio < 1;
  const double wanted =
      falls ? limit.low / limit.high * (1 - kPlunger_U) : limit.high / limit.low * (1 + kPlunger_U);
  for (std::size_t k = 0; k < table.size(); ++k) {
    if (falls ? table[k].ratio > wanted : table[k].ratio < wanted) continue;
    if (k == 0) return table[0].size;
    const Moved &a = table[k - 1], &b = table[k];
    return a.size + (b.size - a.size) * (wanted - a.ratio) / (b.ratio - a.ratio);
  }
  return INFINITY;
}

struct Driven {
  DetectionScene& scene;
  const Part& part;
  std::string name;

  void sure(const char* fault, std::string by) const {
    scene.sure({.part = name, .fault = fault, .full = true, .by = std::move(by)});
  }
  void sure(const char* fault, double size, Unit unit, std::string by) const {
    scene.sure({.part = name,
                .fault = fault,
                .size = size,
                .unit = unit,
                .sized = true,
                .full = true,
                .by = std::move(by)});
  }
};

void add_load(const Driven& d) {
  const auto& coil = *d.part.coil();
  const double ohm = coil.resistance_ohm.high *
                     metrology::copper_ratio(kWorkshopCelsius.high, coil.resistance_celsius);
  d.sure("film", kLoadShare / (1 - kLoadShare) * ohm, Unit::ohm, "resistance under load");
  d.sure("heating-joint", kLoadShare * ohm, Unit::ohm, "resistance under load");
  d.scene.sure({.part = d.name,
                .fault = "intermittent",
                .full = true,
                .by_chance = true,
                .by = "driven coil, if it opens while it is driven"});
}

void add_magnet(const Driven& d) {
  const auto& coil = *d.part.coil();
  double size = INFINITY;
  std::string by;
  if (coil.pull_in_current_A && coil.coil_class == profile::CoilClass::on_off)
    size = size_for(kMagnetCurrent, *coil.pull_in_current_A),
    by = "current at which the plunger starts";
  if (coil.inductance_H) {
    const double least = coil.inductance_H->low / coil.inductance_H->high * (1 - kInductance_U);
    const double weak = 100 * (1 - least) / kMagnetShare;
    if (weak < size) size = weak, by = "inductance below its limit";
  }
  if (std::isfinite(size))
    d.sure("weak-magnet", size, Unit::percent, by);
  else
    d.scene.doubt(d.name, "weak-magnet", "the profile limits neither inductance nor current");
}

void add_moved(const Driven& d, const char* fault, std::span<const Moved> table,
               const std::optional<Interval>& limit, Unit unit, const char* by) {
  const double size = limit ? size_for(table, *limit) : INFINITY;
  if (std::isfinite(size))
    d.sure(fault, size, unit, by);
  else
    d.scene.doubt(d.name, fault,
                  limit ? "the profile's limits are too wide for it"
                        : "the profile does not limit what it changes");
}

void add_plunger(const Driven& d) {
  const auto& coil = *d.part.coil();
  for (const char* fault : {"stuck-open", "stuck-seated"}) d.sure(fault, "plunger moves");
  add_moved(d, "sticky", kStickyTime, coil.pull_in_s, Unit::none,
            "seats later than its limit: damped so many times more");
  add_moved(d, "weak-spring", kSpringCurrent, coil.pull_in_current_A, Unit::percent,
            "starts below its least current");
}

void add_suppression(const Driven& d) {
  if (d.part.coil()->suppression.kind == profile::SuppressionKind::none) return;
  d.sure("suppression-missing", "suppression at switch-off");
  d.sure("suppression-reversed", "driven coil draws too much");
}

// Of a bench that drives nothing.
void add_doubts(DetectionScene& scene, const Part& part) {
  const char* why = "this bench does not drive coils";
  std::vector<const char*> faults{"heating-joint", "intermittent", "weak-magnet"};
  if (part.coil()->coil_class == profile::CoilClass::on_off)
    faults.insert(faults.end(), {"stuck-open", "stuck-seated", "sticky", "weak-spring"});
  if (part.coil()->suppression.kind != profile::SuppressionKind::none)
    faults.insert(faults.end(), {"suppression-missing", "suppression-reversed"});
  for (const char* fault : faults) scene.doubt(target_of(part), fault, why);
}

}  // namespace

void add_drive(DetectionScene& scene) {
  for (const Part& part : scene.profile.parts) {
    if (!part.coil()) continue;
    const std::string name = target_of(part);
    // At rest it is a short, whatever the bench.
    if (part.coil()->suppression.kind != profile::SuppressionKind::none)
      scene.sure({.part = name, .fault = "suppression-shorted", .by = "coil resistance"});
    if (!scene.can.drive || !network::leads_of(scene.profile, part)) {
      add_doubts(scene, part);
      continue;
    }
    const Driven d{scene, part, name};
    add_load(d);
    add_magnet(d);
    add_suppression(d);
    if (part.coil()->coil_class == profile::CoilClass::on_off)
      add_plunger(d);
    else
      for (const char* fault : {"stuck-open", "stuck-seated", "sticky", "weak-spring"})
        scene.doubt(name, fault,
                    "a plunger that moves in proportion leaves no mark in the current");
  }
}

}  // namespace pinproof::inspection::detecting
