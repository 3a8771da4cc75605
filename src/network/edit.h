// Faults as edits of the network. Pure.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <utility>
#include <vector>

#include "network/model.h"
#include "network/sweep.h"

namespace pinproof::network {

/// When an edit is there: always, or in part of the situations only.
enum class When {
  always,
  small_current,  ///< a film that breaks down under load
  load,           ///< shows under load only: it grows with current or time
  hot
};

enum class EditKind {
  bridge,  ///< size ohm between a and b
  series,  ///< size ohm more in the element
  share,   ///< that share of the element's part is gone: shorted turns
  factor,  ///< the element's ohm times size
  become,  ///< the element has size ohm, where it conducts
  shut     ///< the element has size ohm in every situation
};

/// One change of the network; `size` is the fault's own, or fixed where `fixed` holds one.
struct Edit {
  EditKind kind = EditKind::bridge;
  std::size_t element = 0;   ///< all but bridges
  std::size_t a = 0, b = 0;  ///< bridges
  std::optional<double> fixed;
  When when = When::always;
};

Edit bridge(std::size_t a, std::size_t b);
Edit on(EditKind kind, std::size_t element, std::optional<double> fixed = std::nullopt,
        When when = When::always);

/// A fault with its size, as far as the network cares.
struct Altered {
  std::span<const Edit> edits;
  double size = 0;
  /// The pin at .first has what belongs behind .second. Empty: all in place.
  std::span<const std::pair<std::size_t, std::size_t>> moved;
};

/// Siemens that an edit alone adds to a good pack between the ends of its element or
/// bridge; 0 where it does not show.
double siemens_of(const Model& model, const Edit& edit, double size, const GoodPack& good);
/// The size at which the edit adds that; NaN where none does.
double size_for(const Model& model, const Edit& edit, double siemens, const GoodPack& good);
/// The ends between which an edit acts.
std::pair<std::size_t, std::size_t> ends_of(const Model& model, const Edit& edit);

/// A pack with faults in one situation: its resistances, and where the nodes went.
struct Altering {
  Resistances resistances;
  std::vector<std::size_t> place;  ///< of each node of the model; moved pins differ
  /// Conductance of each element as it is now; 0 where it does not conduct.
  std::vector<double> siemens;
};

/// `good` with all the faults: parts first, then pins that changed places, then
/// bridges, which lie outside. Edits of one element add up: series resistances, then
/// what the element became.
Altering alter(const Model& model, const GoodPack& good, std::span<const Altered> faults);

}  // namespace pinproof::network
