#include "network/edit.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>

namespace pinproof::network {
namespace {

constexpr double kNone = std::numeric_limits<double>::quiet_NaN();  // no size does it
constexpr double kLeast_ohm = 1e-4;  // no element or bridge has less: conductances stay finite
constexpr double kOpens = 1e4;       // times what it was: built anew, see alter()

bool shows(When when, const Situation& situation) {
  switch (when) {
    case When::small_current:
      return situation.stress == Stress::none;
    case When::load:
      return situation.stress == Stress::load;
    case When::hot:
      return situation.hot;
    case When::always:
      break;
  }
  return true;
}

// Of the whole part, of which a coil's element is one half.
double part_ohm(const Model& model, const Element& element) {
  double sum = 0;
  for (const Element& other : model.elements())
    if (other.part == element.part && other.kind == element.kind) sum += other.ohm;
  return element.kind == profile::PartKind::coil ? sum : element.ohm;
}

// What a good element of `ohm` (infinite: not conducting) becomes.
double ohm_after(const Model& model, const Edit& edit, double size, double ohm) {
  const Element& element = model.elements()[edit.element];
  switch (edit.kind) {
    case EditKind::series:
      return ohm + size;
    case EditKind::share:
      return std::max(ohm - size * part_ohm(model, element), kLeast_ohm);
    case EditKind::factor:
      return ohm * size;
    case EditKind::become:
      return std::isfinite(ohm) ? size : ohm;
    case EditKind::shut:
      return size;
    case EditKind::bridge:
      break;
  }
  return ohm;
}

double conductance(double ohm) { return 1 / std::clamp(ohm, kLeast_ohm, kOpenCircuit_ohm); }

std::vector<std::size_t> all_in_place(std::size_t nodes) {
  std::vector<std::size_t> out(nodes);
  for (std::size_t i = 0; i < nodes; ++i) out[i] = i;
  return out;
}

// Of all elements, with every edit of theirs: series resistances first.
std::vector<double> ohms_with(const Model& model, const GoodPack& good,
                              std::span<const Altered> faults) {
  std::vector<double> ohm = good.ohm;
  for (const bool series : {true, false})
    for (const Altered& fault : faults)
      for (const Edit& edit : fault.edits) {
        if (edit.kind == EditKind::bridge || (edit.kind == EditKind::series) != series ||
            !shows(edit.when, good.situation))
          continue;
        ohm[edit.element] =
            ohm_after(model, edit, edit.fixed.value_or(fault.size), ohm[edit.element]);
      }
  return ohm;
}

bool anything_opens(const std::vector<double>& ohm, const GoodPack& good) {
  for (std::size_t e = 0; e < ohm.size(); ++e)
    if (ohm[e] > kOpens * good.ohm[e]) return true;
  return false;
}

// What each element conducts now; `update`: its difference to before goes into the resistances.
void change_elements(const Model& model, const GoodPack& good, const std::vector<double>& ohm,
                     bool update, Altering& out) {
  for (std::size_t e = 0; e < ohm.size(); ++e) {
    const double more = conductance(ohm[e]) - conductance(good.ohm[e]);
    if (update && more != 0)
      out.resistances.add({model.elements()[e].a, model.elements()[e].b, more});
    out.siemens.push_back(std::isfinite(ohm[e]) ? conductance(ohm[e]) : 0);
  }
}

// What sits at .second goes to .first.
void move_pins(std::span<const std::pair<std::size_t, std::size_t>> moved, Altering& out) {
  auto to = all_in_place(out.place.size());
  for (const auto& [here, belongs] : moved) to[belongs] = here;
  out.resistances.move(to);
  for (std::size_t& at : out.place) at = to[at];
}

// A bridge's inner ends follow what they hang on; its pins are the connector's.
void add_bridges(const Model& model, const GoodPack& good, const Altered& fault, Altering& out) {
  const auto end = [&](std::size_t n) { return n < model.terminals() ? n : out.place[n]; };
  for (const Edit& edit : fault.edits) {
    if (edit.kind != EditKind::bridge) continue;
    const double g = siemens_of(model, edit, fault.size, good);
    if (g > 0) out.resistances.add({end(edit.a), end(edit.b), g});
  }
}

}  // namespace

Edit bridge(std::size_t a, std::size_t b) {
  Edit out;
  out.a = a, out.b = b;
  return out;
}

Edit on(EditKind kind, std::size_t element, std::optional<double> fixed, When when) {
  Edit out;
  out.kind = kind, out.element = element, out.fixed = fixed, out.when = when;
  return out;
}

std::pair<std::size_t, std::size_t> ends_of(const Model& model, const Edit& edit) {
  if (edit.kind == EditKind::bridge) return {edit.a, edit.b};
  const Element& element = model.elements()[edit.element];
  return {element.a, element.b};
}

double siemens_of(const Model& model, const Edit& edit, double size, const GoodPack& good) {
  if (!shows(edit.when, good.situation)) return 0;
  const double its = edit.fixed.value_or(size);
  if (edit.kind == EditKind::bridge) return 1 / std::max(its, kLeast_ohm);
  const double before = good.ohm[edit.element];
  return conductance(ohm_after(model, edit, its, before)) - conductance(before);
}

double size_for(const Model& model, const Edit& edit, double siemens, const GoodPack& good) {
  if (!shows(edit.when, good.situation) || edit.fixed || !std::isfinite(siemens)) return kNone;
  if (edit.kind == EditKind::bridge) return siemens > 0 ? 1 / siemens : kNone;
  const double before = good.ohm[edit.element];
  const double left = conductance(before) + siemens;
  if (!(left > 0)) return kNone;
  const double after = 1 / left;
  switch (edit.kind) {
    case EditKind::series:
      return std::isfinite(before) ? after - before : kNone;
    case EditKind::share:
      return (before - after) / part_ohm(model, model.elements()[edit.element]);
    case EditKind::factor:
      return after / before;
    case EditKind::become:
      return std::isfinite(before) ? after : kNone;
    default:
      return after;
  }
}

Altering alter(const Model& model, const GoodPack& good, std::span<const Altered> faults) {
  const std::vector<double> ohm = ohms_with(model, good, faults);
  // What opens is built anew: there an update would be a difference of equal numbers.
  const bool opens = anything_opens(ohm, good);
  const bool moves = std::any_of(faults.begin(), faults.end(),
                                 [](const Altered& fault) { return !fault.moved.empty(); });
  // Ties are outside: they come after pins have changed places.
  const bool tie_late = !good.situation.tied.empty() && (moves || opens);
  const Resistances& before = tie_late ? good.untied : good.resistances;
  Altering out{opens ? model.built(ohm) : before, all_in_place(model.nodes()), {}};
  change_elements(model, good, ohm, !opens, out);
  for (const Altered& fault : faults)
    if (!fault.moved.empty()) move_pins(fault.moved, out);
  if (tie_late) tie(good.situation, out.resistances);
  for (const Altered& fault : faults) add_bridges(model, good, fault, out);
  return out;
}

}  // namespace pinproof::network
