// What can be wrong between a lever's contacts and the pins where they are read: one kind a row of
// one table. Pure.
#pragma once

#include <array>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "lever/code.h"

namespace pinproof::lever {

inline constexpr std::size_t kMostColumns = 18;  // 16 lines, start permit and reverse

/// What was seen at each position, and which contacts read neither open nor closed there.
struct Observed {
  std::vector<Word> words;  ///< as many as the code has positions; nothing known where not visited
  std::vector<Mask> weak;   ///< read, and in the zone where a controller may take either
};

/// Where the contacts take their state from, by position: the table itself, or shifted, or
/// another pack's.
using ContactSource = std::vector<Word>;

/// A set of faults, ready to be applied to every position. In this order, which is that of the
/// hardware: lever and contacts first, then the order of the wires, then what touches at the pins.
struct Effect {
  const ContactSource* source = nullptr;
  Mask open = 0;    ///< contacts that never close
  Mask closed = 0;  ///< contacts that never open
  Mask weak = 0;    ///< contacts that may or may not be seen where they close
  bool reordered = false;
  std::array<std::uint8_t, kMostColumns> from{};  ///< column k shows contact from[k]
  std::array<Mask, 3> bridged{};                  ///< columns that touch
  std::size_t bridges = 0;
  Mask blurred = 0;  ///< columns that nothing is said about: their pin shows something else
  Mask shared = 0, sharing = 0;  ///< where `sharing` closes, what `shared` shows is not a bit

  Word at(std::size_t position) const { return of((*source)[position]); }
  Word of(Word contacts) const;
  /// What it does to no contact closed and to each closed alone: two effects with the same mark
  /// show the same at any lever, since every pin shows a constant or whether one of some contacts
  /// closes.
  std::vector<Mask> mark(std::size_t columns) const;
};

struct FaultKind;

struct LineFault {
  const FaultKind* kind = nullptr;
  std::size_t a = 0, b = 0;  ///< columns; of lost commons a group, of shifts a source
  int step = 0;              ///< of runs: +1 or -1
  friend bool operator==(const LineFault&, const LineFault&) = default;
};

/// All that the kinds need to list and to apply themselves.
struct Ground {
  Ground(const RangeCode& code, const Observed& observed,
         const profile::Profile* profile = nullptr);
  const RangeCode* code;
  Mask seen_weak = 0;  ///< columns that read weak anywhere
  std::vector<ContactSource>
      shifts;  ///< by sources: good, one step on, one back, half on, half back
  std::vector<ContactSource> others;          ///< of other packs
  std::vector<Mask> commons;                  ///< columns that share one, where two or more do
  std::vector<std::vector<bool>> neighbours;  ///< by columns; empty: nobody knows
};

struct FaultKind {
  std::string_view name;
  double rate;  ///< how often against the others (our estimates, no source)
  std::vector<LineFault> (*list)(const Ground& ground, const FaultKind& kind);
  void (*apply)(const Ground& ground, const LineFault& fault, Effect& effect);
  std::string (*text)(const Ground& ground, const LineFault& fault);
};

/// The one table of kinds.
std::span<const FaultKind> fault_kinds();

/// All single faults of all kinds.
std::vector<LineFault> single_faults(const Ground& ground);
/// Logarithm of how likely this fault is, by its kind's rate and by whether its pins are
/// neighbours.
double log_rate(const Ground& ground, const LineFault& fault);
/// False where two of them cannot be there together (both shift the lever; one contact stuck
/// open and closed).
bool compatible(const LineFault& x, const LineFault& y);
/// The order in which two of them are applied matters.
bool order_matters(const LineFault& x, const LineFault& y);
Effect effect_of(const Ground& ground, std::span<const LineFault> faults);
std::string text_of(const Ground& ground, const LineFault& fault);

}  // namespace pinproof::lever
