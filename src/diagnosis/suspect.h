// Faults that may be there: one suspect for every electrically distinct way in which
// this pack can fail, as an edit of its network with a size that nobody knows. Pure.
#pragma once

#include <memory>
#include <span>
#include <string>
#include <vector>

#include "network/edit.h"
#include "network/model.h"
#include "quantity/quantity.h"

namespace pinproof::diagnosis {

struct Suspect {
  std::string kind;                ///< "coil-open", "bridge", ...
  std::string part;                ///< of the profile, or the pin's number
  std::vector<std::string> nodes;  ///< where to look
  std::string where;               ///< "harness: " or "pack: ", where both are looked at
  std::string text;                ///< "coil A is open, or pin 2 or its wire"
  std::vector<std::string> alike;  ///< other faults that no reading tells from this one
  std::vector<network::Edit> edits;
  std::vector<std::pair<std::size_t, std::size_t>> moved;  ///< see network::Altered
  /// Possible sizes, taken as equally likely per decade; low == high where there is only one.
  Interval size{1, 1};
  /// Above this size it goes by another name ("leak" for a bridge). Infinite: one name.
  double renamed_above = INFINITY;
  std::string renamed;
  /// Representative sizes, for studies and for planning.
  std::vector<double> stated{1};
  /// How often, beside the others. Only ratios matter (common practice, no source).
  double rate = 1;

  bool sized() const { return size.low < size.high; }
  const std::string& kind_at(double its) const { return its > renamed_above ? renamed : kind; }
  network::Altered altered(double its) const { return {edits, its, moved}; }
};

/// Where suspects come from. Adding a class of faults is one file in faults/ and one line in
/// the table of suspect.cpp.
struct SuspectKind {
  std::string_view name;
  void (*add)(const network::Model& model, std::vector<Suspect>& out);
};
std::span<const SuspectKind* const> suspect_kinds();

extern const SuspectKind kCoilFaults;
extern const SuspectKind kWireFaults;
extern const SuspectKind kContactFaults;
extern const SuspectKind kThermistorFaults;
extern const SuspectKind kBridges;
extern const SuspectKind kOpenPins;
extern const SuspectKind kWrongOrder;
extern const SuspectKind kWater;

/// All of them, in the order of the table.
std::vector<Suspect> suspects_of(const network::Model& model);

/// True where exchanging two pins changes nothing that can be measured at rest: equal parts.
bool is_equal_part_swap(const network::Model& model, const Suspect& suspect);

}  // namespace pinproof::diagnosis
