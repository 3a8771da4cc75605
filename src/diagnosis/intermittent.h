// Readings held while the pack is wiggled or warmed: which single fault, coming and going,
// explains all that moved and all that did not. Pure.
#pragma once

#include <string>
#include <vector>

#include "diagnosis/scene.h"
#include "record/readings.h"

namespace pinproof::diagnosis {

/// Least and most of one reading during a hold. Infinite: open.
struct Held {
  Probe probe;
  double least_ohm = 0;
  double most_ohm = 0;
  double at_s = 0;  ///< when it was farthest from where it began
};

struct Mover {
  Guess fault;
  double misfit = 0;          ///< chi-squared over all held readings
  std::size_t explained = 0;  ///< of those that moved
};

struct Movement {
  std::vector<std::size_t> moved;  ///< indices of the held readings that moved
  /// Faults that explain all of them by coming and going, best first; empty where none
  /// does, or where nothing moved.
  std::vector<Mover> movers;
};

/// A reading moved when its extremes differ by more than a contact's usual restlessness: 0.1 of y
/// (10 %, or 0.13 ohm near nothing).
Movement one_mover(const Scene& scene, const std::vector<Suspect>& suspects,
                   const std::vector<Held>& held);

/// The held ones of written readings. Throws Error(usage) as observe() does.
std::vector<Held> held_of(Scene& scene, const record::WrittenReadings& written,
                          const std::string& file);

}  // namespace pinproof::diagnosis
