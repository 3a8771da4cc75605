// Pins in the wrong places: two changed over, or a row shifted by one.
#include <algorithm>
#include <cmath>

#include "diagnosis/faults/common.h"

namespace pinproof::diagnosis {
namespace {

constexpr std::size_t kShortestRow = 3, kLongestRow = 6;

void add_swap(const network::Model& model, std::size_t a, std::size_t b,
              std::vector<Suspect>& out) {
  Suspect s;
  s.kind = "swap", s.part = model.name(a), s.nodes = {model.name(a), model.name(b)};
  s.text = "pins " + model.name(a) + " and " + model.name(b) + " have changed places";
  s.moved = {{a, b}, {b, a}};
  s.rate = b == a + 1 ? 0.2 : 0.03;
  out.push_back(std::move(s));
}

void add_shift(const network::Model& model, std::size_t first, std::size_t length, bool up,
               std::vector<Suspect>& out) {
  Suspect s;
  s.kind = "mis-pinned-row", s.part = model.name(first);
  for (std::size_t k = 0; k < length; ++k) {
    const std::size_t here = first + k, from = first + (k + (up ? 1 : length - 1)) % length;
    s.moved.emplace_back(here, from);
    s.nodes.push_back(model.name(here));
  }
  s.text = "pins " + s.nodes.front() + " to " + s.nodes.back() + " are shifted by one place, " +
           (up ? "down" : "up");
  s.rate = 0.03;
  out.push_back(std::move(s));
}

// Runs of pins of one connector: of a pack joined with a harness, its plug needs none of its own,
// since wires in wrong places there are the same at the controller's end.
std::vector<std::pair<std::size_t, std::size_t>> connectors(const network::Model& model) {
  const std::size_t pins = model.terminals() - 1, wires = model.profile().harness_pins;
  if (wires == 0) return {{0, pins}};
  return {{0, wires}, {2 * wires, pins}};
}

void add(const network::Model& model, std::vector<Suspect>& out) {
  for (const auto& [begin, end] : connectors(model)) {
    for (std::size_t a = begin; a < end; ++a)
      for (std::size_t b = a + 1; b < end; ++b) add_swap(model, a, b, out);
    for (std::size_t length = kShortestRow; length <= std::min(kLongestRow, end - begin); ++length)
      for (std::size_t first = begin; first + length <= end; ++first)
        for (const bool up : {true, false}) add_shift(model, first, length, up, out);
  }
}

}  // namespace

const SuspectKind kWrongOrder{"order", add};

bool is_equal_part_swap(const network::Model& model, const Suspect& suspect) {
  if (suspect.moved.empty()) return false;
  return std::all_of(suspect.moved.begin(), suspect.moved.end(), [&](const auto& move) {
    const auto one = parts_at(model.profile(), model.name(move.first));
    const auto other = parts_at(model.profile(), model.name(move.second));
    if (one.size() != 1 || other.size() != 1 || !one[0]->coil() || !other[0]->coil()) return false;
    const auto far = [&](const profile::Part& part, const std::string& near) {
      return part.between[part.between[0] == near ? 1 : 0];
    };
    const Interval &a = one[0]->coil()->resistance_ohm, &b = other[0]->coil()->resistance_ohm;
    return far(*one[0], model.name(move.first)) == far(*other[0], model.name(move.second)) &&
           std::abs(a.middle() - b.middle()) <= (a.width() + b.width()) / 2;
  });
}

}  // namespace pinproof::diagnosis
