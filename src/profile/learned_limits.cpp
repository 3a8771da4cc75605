#include "profile/learned_limits.h"

#include <algorithm>
#include <array>
#include <cstdio>
#include <nlohmann/json.hpp>
#include <set>

#include "profile/load.h"
#include "quantity/error.h"
#include "quantity/text.h"

namespace pinproof::profile {
namespace {

using Json = nlohmann::ordered_json;

struct SwitchingLimit {
  const char* key;
  std::optional<Interval> Coil::*limit;
  Interval widest;  // as the loader allows
  bool plunger;     // a figure of a plunger that seats
};

constexpr std::array<SwitchingLimit, 4> kDriven{
    {{"inductance_H", &Coil::inductance_H, {1e-6, 10}, false},
     {"pull_in_s", &Coil::pull_in_s, {1e-5, 10}, true},
     {"release_s", &Coil::release_s, {1e-5, 10}, true},
     {"pull_in_current_A", &Coil::pull_in_current_A, {1e-3, 50}, true}}};

bool has_place(const Coil& coil, const SwitchingLimit& figure) {
  return (coil.*figure.limit).has_value() || !figure.plunger ||
         coil.coil_class == CoilClass::on_off;
}

double six_digits(double value) {
  char text[40];
  std::snprintf(text, sizeof text, "%.5e", value);
  return parse_number(text).value_or(value);
}

// New limits stand with the others, not behind what the coil may be given.
void insert_limit(Json& part, const std::string& key, const Json& limit) {
  Json out = Json::object();
  for (auto& [name, value] : part.items()) {
    if ((name == "suppression" || name == "energy") && !out.contains(key)) out[key] = limit;
    out[name] = std::move(value);
  }
  if (!out.contains(key)) out[key] = limit;
  part = std::move(out);
}

void set_limit(Json& part, const std::string& key, const Interval& limits) {
  if (!part.contains(key))
    return insert_limit(part, key, Json{{"low", limits.low}, {"high", limits.high}});
  part[key]["low"] = limits.low, part[key]["high"] = limits.high;
}

void set_source(Json& sources, const LimitChange& change) {
  const auto same = [&](const Json& source) { return source.at("of") == change.pointer; };
  const auto found = std::find_if(sources.begin(), sources.end(), same);
  if (found == sources.end()) {
    sources.push_back({{"of", change.pointer}, {"text", change.source}});
    return;
  }
  (*found)["text"] = change.source;
  sources.erase(std::remove_if(found + 1, sources.end(), same), sources.end());
}

}  // namespace

std::vector<LimitPlace> limit_places(const Profile& profile) {
  std::vector<LimitPlace> out;
  for (std::size_t k = 0; k < profile.parts.size(); ++k) {
    const Part& part = profile.parts[k];
    const auto add = [&](const char* key, const std::optional<Interval>& present) {
      out.push_back({"/parts/" + std::to_string(k) + "/" + key, k, key, present});
    };
    if (part.resistor()) add("resistance_ohm", part.resistor()->resistance_ohm);
    if (!part.coil()) continue;
    add("resistance_ohm", part.coil()->resistance_ohm);
    for (const SwitchingLimit& figure : kDriven)
      if (has_place(*part.coil(), figure)) add(figure.key, (*part.coil()).*figure.limit);
  }
  return out;
}

Profile with_all_limits(Profile profile) {
  for (Part& part : profile.parts)
    for (const SwitchingLimit& figure : kDriven)
      if (part.coil() && has_place(*part.coil(), figure) && !((*part.coil()).*figure.limit))
        (*part.coil()).*figure.limit = figure.widest;
  return profile;
}

Interval rounded(const Interval& limits) {
  return {six_digits(limits.low), six_digits(limits.high)};
}

std::string with_limits(std::string_view json, const std::string& file,
                        const std::vector<LimitChange>& changes) {
  const auto places = limit_places(parse_profile(json, file));  // what loads is safe to edit
  Json out = Json::parse(json);
  std::set<std::string> seen;
  for (const LimitChange& change : changes) {
    const auto place = std::find_if(places.begin(), places.end(), [&](const LimitPlace& p) {
      return p.pointer == change.pointer;
    });
    if (place == places.end())
      throw Error(Fault::usage, file + ": " + change.pointer + ": no limit that can be learned");
    if (!seen.insert(change.pointer).second)
      throw Error(Fault::usage, file + ": " + change.pointer + ": changed twice");
    set_limit(out["parts"][place->part], place->key, change.limits);
    set_source(out["sources"], change);
  }
  std::string text = out.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
  parse_profile(text, file);
  return text;
}

}  // namespace pinproof::profile
