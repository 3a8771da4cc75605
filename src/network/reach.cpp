#include "network/reach.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <numeric>

namespace pinproof::network {
namespace {

using profile::Part;
using profile::PartKind;
using profile::Profile;

bool is_terminal(const Profile& profile, const std::string& node) {
  return node == profile::kCase || profile.is_pin(node);
}

struct WireWalk {
  std::string terminal;
  std::vector<const Part*> wires;
};

// Breadth first along wires to the nearest terminal.
std::optional<WireWalk> nearest_terminal(const Profile& profile, const std::string& node) {
  std::vector<WireWalk> frontier{{node, {}}};
  std::vector<std::string> seen{node};
  for (std::size_t i = 0; i < frontier.size(); ++i) {
    if (is_terminal(profile, frontier[i].terminal)) return frontier[i];
    for (const Part& part : profile.parts) {
      if (part.kind() != PartKind::wire) continue;
      for (const std::size_t end : {std::size_t{0}, std::size_t{1}}) {
        if (part.between[end] != frontier[i].terminal) continue;
        const std::string& next = part.between[1 - end];
        if (std::find(seen.begin(), seen.end(), next) != seen.end()) continue;
        seen.push_back(next);
        WireWalk step{next, frontier[i].wires};
        step.wires.push_back(&part);
        frontier.push_back(std::move(step));
      }
    }
  }
  return std::nullopt;
}

bool pressed(const PackState& state, const std::string& element) {
  return std::find(state.applied.begin(), state.applied.end(), element) != state.applied.end();
}

bool is_contact_like(const Part& part) {
  return part.kind() == PartKind::switch_ || part.kind() == PartKind::contact;
}

double closed_ohm(const Part& part) {
  return part.pressure_switch() ? part.pressure_switch()->closed_ohm : part.contact()->closed_ohm;
}

std::optional<Interval> series_ohm(const Part& part) {
  return part.pressure_switch() ? part.pressure_switch()->series_ohm : part.contact()->series_ohm;
}

// Union-find over node names.
class Joined {
 public:
  void join(const std::string& a, const std::string& b) { parent_[root(a)] = root(b); }
  std::string root(const std::string& node) {
    std::string at = node;
    while (true) {
      const auto it = parent_.find(at);
      if (it == parent_.end() || it->second == at) return at;
      at = it->second;
    }
  }

 private:
  std::map<std::string, std::string> parent_;
};

}  // namespace

std::optional<Leads> leads_of(const Profile& profile, const Part& part) {
  const auto a = nearest_terminal(profile, part.between[0]);
  const auto b = nearest_terminal(profile, part.between[1]);
  if (!a || !b) return std::nullopt;
  Leads out{a->terminal, b->terminal, a->wires, 0};
  out.wires.insert(out.wires.end(), b->wires.begin(), b->wires.end());
  for (const Part* wire : out.wires) out.wires_max_ohm += wire->wire()->max_ohm;
  return out;
}

std::optional<bool> is_closed(const Profile& profile, const Part& part, const PackState& state) {
  if (part.kind() == PartKind::switch_) {
    const auto& sw = *part.pressure_switch();
    return pressed(state, sw.element) == (sw.rest == profile::Rest::open);
  }
  if (part.kind() != PartKind::contact || !profile.lever || !state.lever) return std::nullopt;
  const auto bit = profile::lever_bit(*profile.lever, part.name, *state.lever);
  if (!bit) return std::nullopt;
  return *bit == profile::Bit::closed;
}

std::vector<ContactPair> contact_pairs(const Profile& profile) {
  std::vector<ContactPair> out;
  for (const Part& part : profile.parts) {
    if (!is_contact_like(part)) continue;
    const auto leads = leads_of(profile, part);
    if (!leads) continue;
    const auto same = std::find_if(out.begin(), out.end(), [&](const ContactPair& p) {
      return p.from == leads->from && p.to == leads->to;
    });
    if (same != out.end())
      same->parts.push_back(&part);
    else
      out.push_back({leads->from, leads->to, {&part}});
  }
  return out;
}

std::optional<PairExpectation> expectation(const Profile& profile, const ContactPair& pair,
                                           const PackState& state) {
  double low_siemens = 0;
  double high_siemens = 0;
  bool closed = false;
  double wires = 0;
  for (const Part* part : pair.parts) {
    const auto on = is_closed(profile, *part, state);
    if (!on) return std::nullopt;
    if (!*on) continue;
    closed = true;
    const auto series = series_ohm(*part);
    const double most = (series ? series->high : 0) + closed_ohm(*part);
    const double least = series ? series->low : 0;
    low_siemens += 1 / most;
    high_siemens += least > 0 ? 1 / least : INFINITY;
    wires = std::max(wires, leads_of(profile, *part)->wires_max_ohm);
  }
  if (!closed) return PairExpectation{};
  return PairExpectation{true, {1 / high_siemens, 1 / low_siemens + wires}};
}

std::vector<std::vector<std::string>> circuits(const Profile& profile, const PackState& state) {
  Joined joined;
  for (const Part& part : profile.parts) {
    const bool conducts = !is_contact_like(part) || is_closed(profile, part, state).value_or(false);
    if (conducts) joined.join(part.between[0], part.between[1]);
  }
  std::vector<std::vector<std::string>> out{{std::string(profile::kCase)}};
  std::map<std::string, std::size_t> group_of{{joined.root(std::string(profile::kCase)), 0}};
  for (const profile::Pin& pin : profile.connector.pins) {
    const auto [it, fresh] = group_of.emplace(joined.root(pin.number), out.size());
    if (fresh) out.emplace_back();
    out[it->second].push_back(pin.number);
  }
  return out;
}

}  // namespace pinproof::network
