#include <cmath>
#include <nlohmann/json.hpp>

#include "report/diagnosis.h"

namespace pinproof::report {
namespace {

using diagnosis::Conclusion;
using diagnosis::ConclusionInput;
using Json = nlohmann::ordered_json;

Json fault_json(const diagnosis::Guess& guess) {
  Json out{{"kind", guess.suspect->kind_at(guess.size)},
           {"part", guess.suspect->part},
           {"nodes", guess.suspect->nodes},
           {"text", text_of(guess)}};
  using network::EditKind;
  if (guess.suspect->sized()) {
    const auto kind = guess.suspect->edits.front().kind;
    out[kind == EditKind::share || kind == EditKind::factor ? "share" : "ohm"] = guess.size;
  }
  if (!guess.suspect->alike.empty()) out["alike"] = guess.suspect->alike;
  return out;
}

Json explanations_json(const Conclusion& c) {
  Json out = Json::array();
  bool none = c.ranking.none_of_these > 1e-6;
  const auto add_none = [&] {
    Json unknown = Json::array({{{"kind", "none-of-these"}}});
    out.push_back({{"faults", std::move(unknown)}, {"probability", c.ranking.none_of_these}});
    none = false;
  };
  for (const auto& one : c.named) {
    if (none && c.ranking.none_of_these > one.probability) add_none();
    Json faults = Json::array();
    for (const auto& guess : one.faults) faults.push_back(fault_json(guess));
    out.push_back({{"faults", std::move(faults)}, {"probability", one.probability}});
  }
  if (none) add_none();
  return out;
}

Json parts_json(const Conclusion& c) {
  Json out = Json::object();
  for (const auto& [part, probability] : c.by_part) out[part] = probability;
  return out;
}

Json next_json(const ConclusionInput& in, const Conclusion& c) {
  if (!c.next) return nullptr;
  const auto& scene = *in.scene;
  const auto& probe = (*in.probes)[c.next->probe];
  const auto& situation = scene.situations()[probe.situation];
  const auto side = [&](std::size_t node) {
    for (const auto& group : situation.tied)
      if (group.front() == node) {
        Json out = Json::array();
        for (const std::size_t one : group) out.push_back(scene.model().name(one));
        return out;
      }
    return Json(scene.model().name(node));
  };
  Json out{{"from", side(probe.sight.c)},
           {"to", side(probe.sight.d)},
           {"condition", diagnosis::situation_text(scene.model().profile(), situation)},
           {"expected_bits", c.next->bits},
           {"cost_probings", c.next->cost}};
  if (probe.kind != diagnosis::ProbeKind::ohm)
    out["drive"] = {scene.model().name(probe.sight.a), scene.model().name(probe.sight.b)};
  return out;
}

Json codes_json(const Conclusion& c) {
  Json out = Json::array();
  for (const auto& code : c.codes)
    out.push_back({{"code", code.code},
                   {"meaning", code.meaning},
                   {"parts", code.parts},
                   {"standing", name_of(code.standing)},
                   {"why", code.why},
                   {"left", code.left},
                   {"settled_by", code.test}});
  return out;
}

Json exonerated_json(const Conclusion& c) {
  Json out = Json::array();
  for (const auto& part : c.exonerated)
    out.push_back({{"part", part.part}, {"faults", part.kinds}});
  return out;
}

Json movement_json(const ConclusionInput& in, const Conclusion& c) {
  Json moved = Json::array(), movers = Json::array();
  for (const std::size_t t : c.movement.moved)
    moved.push_back({{"reading", text_of(*in.scene, in.held[t].probe)}, {"at_s", in.held[t].at_s}});
  for (const auto& mover : c.movement.movers) movers.push_back(fault_json(mover.fault));
  return {{"moved", std::move(moved)}, {"explained_by", std::move(movers)}};
}

std::string_view outcome_of(const Conclusion& c) {
  switch (c.outcome) {
    case Conclusion::End::good:
      return "no-fault-seen";
    case Conclusion::End::fault:
      return "fault";
    case Conclusion::End::open:
      break;
  }
  return "not-settled";
}

}  // namespace

std::string diagnosis_json(const ConclusionInput& in, const Conclusion& c) {
  const Json out{{"schema", "pinproof/diagnosis/1"},
                 {"profile", in.scene->model().profile().name},
                 {"outcome", outcome_of(c)},
                 {"sentence", c.sentence},
                 {"readings", c.ranking.readings},
                 {"fit", c.ranking.fit},
                 {"explanations", explanations_json(c)},
                 {"by_part", parts_json(c)},
                 {"next_probe", next_json(in, c)},
                 {"codes", codes_json(c)},
                 {"exonerated", exonerated_json(c)},
                 {"untested", c.untested},
                 {"remarks", c.remarks},
                 {"movement", movement_json(in, c)},
                 {"masked", c.masked}};
  return out.dump(2) + "\n";
}

}  // namespace pinproof::report
