// Every limit of a profile as something that can be loosened and tightened.
#pragma once

#include <algorithm>
#include <cmath>
#include <functional>
#include <string>
#include <vector>

#include "profile/profile.h"

namespace pinproof::tests {

/// `edit(profile, by)`: by > 0 loosens, by < 0 tightens, by that share of the limit (of half the
/// width of a band); -1 is as tight as can be.
struct Limit {
  std::string name;
  std::function<void(profile::Profile&, double by)> edit;
};

namespace detail {

enum class Edge { low, high };

inline void move(Interval& band, Edge edge, double by) {
  const double step = by * band.width() / 2;
  if (edge == Edge::low)
    band.low = std::max(band.low - step, 0.0);
  else
    band.high += step;
}

template <class Get>  // Get: Profile& -> Interval*
void add_band(std::vector<Limit>& out, const std::string& name, Get get) {
  for (const Edge edge : {Edge::low, Edge::high})
    out.push_back({name + (edge == Edge::low ? ".low" : ".high"),
                   [=](profile::Profile& p, double by) { move(*get(p), edge, by); }});
}

template <class Get>  // Get: Profile& -> double*
void add_most(std::vector<Limit>& out, const std::string& name, Get get) {
  out.push_back({name, [=](profile::Profile& p, double by) { *get(p) *= 1 + by; }});
}

template <class Get>
void add_least(std::vector<Limit>& out, const std::string& name, Get get) {
  out.push_back(
      {name, [=](profile::Profile& p, double by) { *get(p) /= 1 + std::max(by, -0.99); }});
}

inline bool are_alike(const profile::Part& x, const profile::Part& y) {
  return x.coil() && y.coil() && x.coil()->coil_class == y.coil()->coil_class &&
         x.coil()->resistance_ohm.low == y.coil()->resistance_ohm.low &&
         x.coil()->resistance_ohm.high == y.coil()->resistance_ohm.high;
}

inline bool is_first_alike(const profile::Profile& profile, std::size_t part) {
  for (std::size_t k = 0; k < part; ++k)
    if (are_alike(profile.parts[k], profile.parts[part])) return false;
  return true;
}

/// Equal coils are a set by their equal bands: all of it moves, or it is another set.
inline void add_set_band(std::vector<Limit>& out, const profile::Profile& profile,
                         std::size_t part) {
  if (!is_first_alike(profile, part)) return;
  for (const Edge edge : {Edge::low, Edge::high})
    out.push_back({profile.parts[part].name + " and its sisters: resistance" +
                       (edge == Edge::low ? ".low" : ".high"),
                   [=](profile::Profile& p, double by) {
                     const profile::Part first = p.parts[part];
                     for (auto& other : p.parts)
                       if (are_alike(first, other)) move(other.coil()->resistance_ohm, edge, by);
                   }});
  if (!profile.parts[part].coil()->matched_within_percent) return;
  out.push_back(
      {profile.parts[part].name + " and its sisters: matched", [=](profile::Profile& p, double by) {
         const profile::Part first = p.parts[part];
         for (auto& other : p.parts)
           if (are_alike(first, other) && other.coil()->matched_within_percent)
             *other.coil()->matched_within_percent *= 1 + by;
       }});
}

inline void add_coil(std::vector<Limit>& out, const profile::Profile& profile, std::size_t k) {
  const std::string name = profile.parts[k].name + ": ";
  const profile::Coil& coil = *profile.parts[k].coil();
  add_set_band(out, profile, k);
  const auto band = [&](const char* what, std::optional<Interval> profile::Coil::*member) {
    if (coil.*member)
      add_band(out, name + what,
               [k, member](profile::Profile& p) { return &*((*p.parts[k].coil()).*member); });
  };
  band("inductance", &profile::Coil::inductance_H);
  band("pull-in", &profile::Coil::pull_in_s);
  band("release", &profile::Coil::release_s);
  band("pull-in current", &profile::Coil::pull_in_current_A);
  if (!coil.hot_supply_V) return;
  add_most(out, name + "hot supply",
           [k](profile::Profile& p) { return &*p.parts[k].coil()->hot_supply_V; });
  add_least(out, name + "hot temperature",
            [k](profile::Profile& p) { return &*p.parts[k].coil()->hot_celsius; });
}

template <class Kind>  // a switch or a contact
void add_contact(std::vector<Limit>& out, const profile::Part& part, std::size_t k) {
  add_most(out, part.name + ": closed_ohm",
           [=](profile::Profile& p) { return &std::get<Kind>(p.parts[k].limits).closed_ohm; });
  if (std::get<Kind>(part.limits).series_ohm)
    add_band(out, part.name + ": series_ohm",
             [=](profile::Profile& p) { return &*std::get<Kind>(p.parts[k].limits).series_ohm; });
}

inline void add_part(std::vector<Limit>& out, const profile::Profile& profile, std::size_t k) {
  const profile::Part& part = profile.parts[k];
  if (part.coil()) add_coil(out, profile, k);
  if (part.pressure_switch()) add_contact<profile::Switch>(out, part, k);
  if (part.contact()) add_contact<profile::Contact>(out, part, k);
  if (part.thermistor())
    add_most(out, part.name + ": tolerance",
             [k](profile::Profile& p) { return &p.parts[k].thermistor()->tolerance_K; });
  if (part.resistor())
    add_band(out, part.name + ": resistance",
             [k](profile::Profile& p) { return &p.parts[k].resistor()->resistance_ohm; });
  if (part.wire())
    add_most(out, part.name + ": max_ohm",
             [k](profile::Profile& p) { return &p.parts[k].wire()->max_ohm; });
}

}  // namespace detail

inline std::vector<Limit> limits_of(const profile::Profile& profile) {
  std::vector<Limit> out;
  for (std::size_t k = 0; k < profile.parts.size(); ++k) detail::add_part(out, profile, k);
  detail::add_least(out, "insulation", [](profile::Profile& p) { return &p.insulation_ohm; });
  detail::add_least(out, "open", [](profile::Profile& p) { return &p.open_ohm; });
  if (profile.load) {
    detail::add_most(out, "feed drop", [](profile::Profile& p) { return &p.load->feed_drop_V; });
    detail::add_most(out, "ground rise",
                     [](profile::Profile& p) { return &p.load->ground_rise_V; });
  }
  return out;
}

}  // namespace pinproof::tests
