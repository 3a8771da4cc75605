#include "lever/line_faults.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <numeric>
#include <utility>

namespace pinproof::lever {
namespace {

using List = std::vector<LineFault>;

constexpr Mask bit(std::size_t column) { return Mask{1} << column; }

const std::string& name(const Ground& g, std::size_t column) {
  return g.code->columns[column].contact;
}

std::string pin_of(const Ground& g, std::size_t column) {
  const Column& c = g.code->columns[column];
  return c.contact + " (pin " + c.pin + ")";
}

List each_column(const Ground& g, const FaultKind& kind) {
  List out;
  for (std::size_t k = 0; k < g.code->columns.size(); ++k) out.push_back({&kind, k, k, 0});
  return out;
}

// Of contacts that share a pin the first stands for it.
bool stands_for_pin(const Ground& g, std::size_t column) {
  const auto& same = g.code->columns[column].same;
  return std::all_of(same.begin(), same.end(), [&](std::size_t other) { return column < other; });
}

List each_pair(const Ground& g, const FaultKind& kind) {
  List out;
  for (std::size_t a = 0; a < g.code->columns.size(); ++a)
    for (std::size_t b = a + 1; b < g.code->columns.size(); ++b)
      if (stands_for_pin(g, a) && stands_for_pin(g, b)) out.push_back({&kind, a, b, 0});
  return out;
}

void blur(const Ground& g, std::size_t column, Effect& e) {
  for (const std::size_t other : g.code->columns[column].same)
    e.blurred |= bit(other), e.sharing |= bit(other), e.shared |= bit(column);
}

void stick_open(const Ground&, const LineFault& f, Effect& e) { e.open |= bit(f.a); }
void stick_closed(const Ground&, const LineFault& f, Effect& e) { e.closed |= bit(f.a); }
std::string stuck_open_text(const Ground& g, const LineFault& f) {
  return pin_of(g, f.a) + " never closes: wire broken, contact dirty, pin pushed back";
}
std::string stuck_closed_text(const Ground& g, const LineFault& f) {
  return pin_of(g, f.a) + " never opens: wire rubbed through to ground, contact stuck";
}

void bridge(const Ground& g, const LineFault& f, Effect& e) {
  // Bridges that share a line are one.
  Mask group = bit(f.a) | bit(f.b);
  std::size_t kept = 0;
  for (std::size_t k = 0; k < e.bridges; ++k)
    if ((e.bridged[k] & group) != 0)
      group |= e.bridged[k];
    else
      e.bridged[kept++] = e.bridged[k];
  e.bridged[kept] = group;
  e.bridges = kept + 1;
  blur(g, f.a, e), blur(g, f.b, e);
}
std::string bridge_text(const Ground& g, const LineFault& f) {
  return pin_of(g, f.a) + " and " + pin_of(g, f.b) + " touch: either contact closes both";
}

void start_order(Effect& e) {
  if (!e.reordered) std::iota(e.from.begin(), e.from.end(), std::uint8_t{0});
  e.reordered = true;
}
void swap_wires(const Ground& g, const LineFault& f, Effect& e) {
  start_order(e);
  std::swap(e.from[f.a], e.from[f.b]);
  blur(g, f.a, e), blur(g, f.b, e);
}
std::string swap_text(const Ground& g, const LineFault& f) {
  return pin_of(g, f.a) + " and " + pin_of(g, f.b) + " have changed places";
}

// Runs of lines that are all shifted by one place, the last one round to the other end.
List each_run(const Ground& g, const FaultKind& kind) {
  List out;
  for (std::size_t a = 0; a < g.code->columns.size(); ++a)
    for (std::size_t b = a + 2; b < g.code->columns.size(); ++b)
      if (stands_for_pin(g, a) && stands_for_pin(g, b))
        for (const int step : {1, -1}) out.push_back({&kind, a, b, step});
  return out;
}
void shift_run(const Ground& g, const LineFault& f, Effect& e) {
  start_order(e);
  const auto begin = e.from.begin() + static_cast<std::ptrdiff_t>(f.a),
             end = e.from.begin() + static_cast<std::ptrdiff_t>(f.b) + 1;
  std::rotate(begin, f.step > 0 ? end - 1 : begin + 1, end);
  for (std::size_t k = f.a; k <= f.b; ++k) blur(g, k, e);
}
std::string run_text(const Ground& g, const LineFault& f) {
  return "the wires from " + pin_of(g, f.a) + " to " + pin_of(g, f.b) +
         " are each one place off: pinned in a wrong order";
}

List each_common(const Ground& g, const FaultKind& kind) {
  List out;
  for (std::size_t k = 0; k < g.commons.size(); ++k) out.push_back({&kind, k, k, 0});
  return out;
}
void lose_common(const Ground& g, const LineFault& f, Effect& e) { e.open |= g.commons[f.a]; }
std::string common_text(const Ground& g, const LineFault& f) {
  std::string out;
  for (std::size_t k = 0; k < g.code->columns.size(); ++k)
    if ((g.commons[f.a] & bit(k)) != 0) out += (out.empty() ? "" : ", ") + name(g, k);
  return "the common (ground) of " + out + " is lost, or the connector is not plugged in";
}

// Only what was seen to be neither open nor closed: anything else would explain any missing bit.
List each_weak(const Ground& g, const FaultKind& kind) {
  List out;
  for (std::size_t k = 0; k < g.code->columns.size(); ++k)
    if ((g.seen_weak & bit(k)) != 0) out.push_back({&kind, k, k, 0});
  return out;
}
void weaken(const Ground&, const LineFault& f, Effect& e) { e.weak |= bit(f.a); }
std::string weak_text(const Ground& g, const LineFault& f) {
  return pin_of(g, f.a) + " closes with so much resistance that a controller may take either";
}

List each_shift(const Ground& g, const FaultKind& kind, std::size_t first) {
  List out;
  for (std::size_t k = first; k < first + 2; ++k) out.push_back({&kind, k, k, 0});
  return g.code->positions.size() < 2 ? List{} : out;
}
List each_step(const Ground& g, const FaultKind& kind) { return each_shift(g, kind, 1); }
List each_half(const Ground& g, const FaultKind& kind) { return each_shift(g, kind, 3); }
void shift(const Ground& g, const LineFault& f, Effect& e) { e.source = &g.shifts[f.a]; }
std::string shift_text(const Ground& g, const LineFault& f) {
  const bool forwards = f.a % 2 == 1;
  return std::string("lever misadjusted: the contacts stand ") +
         (f.a < 3 ? "a whole step" : "half a step") + " towards " +
         (forwards ? g.code->positions.back() : g.code->positions.front());
}

List each_other(const Ground& g, const FaultKind& kind) {
  List out;
  for (std::size_t k = 0; k < g.others.size(); ++k) out.push_back({&kind, k, k, 0});
  return out;
}
void take_other(const Ground& g, const LineFault& f, Effect& e) { e.source = &g.others[f.a]; }
std::string other_text(const Ground& g, const LineFault& f) {
  return "contacts of another pack: " + g.code->others[f.a].name;
}

constexpr std::array kKinds{
    FaultKind{"line-stuck-open", 3, each_column, stick_open, stuck_open_text},
    FaultKind{"line-stuck-closed", 1.5, each_column, stick_closed, stuck_closed_text},
    FaultKind{"lines-bridged", 0.6, each_pair, bridge, bridge_text},
    FaultKind{"lines-swapped", 0.6, each_pair, swap_wires, swap_text},
    FaultKind{"lines-shifted", 0.1, each_run, shift_run, run_text},
    FaultKind{"common-lost", 3, each_common, lose_common, common_text},
    FaultKind{"contact-weak", 2, each_weak, weaken, weak_text},
    FaultKind{"lever-a-step-off", 1, each_step, shift, shift_text},
    FaultKind{"lever-half-a-step-off", 1, each_half, shift, shift_text},
    FaultKind{"other-pack", 0.5, each_other, take_other, other_text}};

enum Which { kOpen, kClosed, kBridge, kSwap, kRun, kCommon, kWeak, kStep, kHalf, kOther };

bool is(const LineFault& fault, Which which) { return fault.kind == &kKinds[which]; }
bool moves_source(const LineFault& f) { return is(f, kStep) || is(f, kHalf) || is(f, kOther); }
bool reorders(const LineFault& f) { return is(f, kSwap) || is(f, kRun); }
bool sticks(const LineFault& f) { return is(f, kOpen) || is(f, kClosed) || is(f, kWeak); }

ContactSource shifted(const ContactSource& words, int by) {
  ContactSource out(words.size());
  for (std::size_t p = 0; p < words.size(); ++p) {
    const auto at = static_cast<std::ptrdiff_t>(p) + by;
    if (at >= 0 && at < static_cast<std::ptrdiff_t>(words.size()))
      out[p] = words[static_cast<std::size_t>(at)];  // beyond the ends nobody knows
  }
  return out;
}

ContactSource half_shifted(const RangeCode& code, bool forwards) {
  ContactSource out(code.words.size());
  for (std::size_t p = 0; p < out.size(); ++p)
    if (forwards ? p < code.between.size() : p > 0) out[p] = code.between[forwards ? p : p - 1];
  return out;
}

}  // namespace

std::vector<Mask> Effect::mark(std::size_t columns) const {
  const Mask all = static_cast<Mask>((std::uint64_t{1} << columns) - 1);
  std::vector<Mask> out;
  for (std::size_t k = 0; k <= columns; ++k) {
    const Word shown = of({k == 0 ? 0 : bit(k - 1), all});
    out.push_back(shown.closed), out.push_back(shown.known);
  }
  return out;
}

Word Effect::of(Word contacts) const {
  Word w = contacts;
  w.closed = (w.closed & ~open) | closed;
  w.known |= open | closed;
  const Mask soft = w.closed & weak;
  w.closed &= ~soft, w.known &= ~soft;
  if ((w.closed & sharing) != 0) w.closed &= ~shared, w.known &= ~shared;
  if (reordered) {
    Word moved;
    for (std::size_t k = 0; k < kMostColumns; ++k) {
      moved.closed |= ((w.closed >> from[k]) & 1U) << k;
      moved.known |= ((w.known >> from[k]) & 1U) << k;
    }
    w = moved;
  }
  for (std::size_t k = 0; k < bridges; ++k) {
    const Mask group = bridged[k];
    if ((w.closed & group) != 0)
      w.closed |= group, w.known |= group;
    else if ((~w.known & group) != 0)
      w.known &= ~group;
  }
  w.known &= ~blurred, w.closed &= ~blurred;
  return w;
}

Ground::Ground(const RangeCode& table, const Observed& observed, const profile::Profile* profile)
    : code(&table) {
  for (const Mask weak : observed.weak) seen_weak |= weak;
  shifts = {table.words, shifted(table.words, 1), shifted(table.words, -1),
            half_shifted(table, true), half_shifted(table, false)};
  for (const OtherTable& other : table.others) others.push_back(other.words);
  std::map<std::string, Mask> sharing;
  for (std::size_t k = 0; k < table.columns.size(); ++k) sharing[table.columns[k].common] |= bit(k);
  for (const auto& [node, group] : sharing)
    if ((group & (group - 1)) != 0) commons.push_back(group);
  if (!profile) return;
  neighbours.assign(table.columns.size(), std::vector<bool>(table.columns.size()));
  for (std::size_t a = 0; a < table.columns.size(); ++a)
    for (std::size_t b = 0; b < table.columns.size(); ++b)
      neighbours[a][b] = lever::neighbours(*profile, table.columns[a].pin, table.columns[b].pin);
}

std::span<const FaultKind> fault_kinds() { return kKinds; }

List single_faults(const Ground& ground) {
  List out;
  for (const FaultKind& kind : kKinds) {
    const List some = kind.list(ground, kind);
    out.insert(out.end(), some.begin(), some.end());
  }
  return out;
}

double log_rate(const Ground& ground, const LineFault& fault) {
  constexpr double kPerFault = 0.01, kNeighbours = 4;
  double rate = kPerFault * fault.kind->rate;
  const bool pair = is(fault, kBridge) || is(fault, kSwap);
  if (pair && !ground.neighbours.empty() && ground.neighbours[fault.a][fault.b])
    rate *= kNeighbours;
  return std::log(rate);
}

bool compatible(const LineFault& x, const LineFault& y) {
  if (x == y || (moves_source(x) && moves_source(y))) return false;
  return !(sticks(x) && sticks(y) && x.a == y.a);
}

bool order_matters(const LineFault& x, const LineFault& y) {
  return reorders(x) && reorders(y) && x.a <= y.b && y.a <= x.b;
}

Effect effect_of(const Ground& ground, std::span<const LineFault> faults) {
  Effect out;
  out.source = &ground.shifts.front();
  for (const LineFault& fault : faults) fault.kind->apply(ground, fault, out);
  return out;
}

std::string text_of(const Ground& ground, const LineFault& fault) {
  return fault.kind->text(ground, fault);
}

}  // namespace pinproof::lever
