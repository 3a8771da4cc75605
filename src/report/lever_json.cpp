#include <nlohmann/json.hpp>

#include "report/lever.h"

namespace pinproof::report {
namespace {

using Json = nlohmann::ordered_json;
using lever::Mask;
using lever::RangeCode;
using lever::Study;
using lever::Word;

std::string state(const Word& word, Mask weak, std::size_t column) {
  const Mask bit = Mask{1} << column;
  if ((weak & bit) != 0) return "neither";
  if ((word.known & bit) == 0) return "not-read";
  return (word.closed & bit) != 0 ? "closed" : "open";
}

Json names(const RangeCode& code, const std::vector<std::size_t>& positions) {
  Json out = Json::array();
  for (const std::size_t p : positions) out.push_back(code.positions[p]);
  return out;
}

Json positions_json(const Study& study) {
  Json out = Json::array();
  for (std::size_t p = 0; p < study.code.positions.size(); ++p) {
    const Word& word = study.seen.observed.words[p];
    Json contacts = Json::object();
    for (std::size_t k = 0; k < study.code.columns.size(); ++k)
      contacts[study.code.columns[k].contact] = state(word, study.seen.observed.weak[p], k);
    out.push_back({{"name", study.code.positions[p]},
                   {"code", study.code.text(word)},
                   {"expected_code", study.code.text(study.code.words[p])},
                   {"contacts", contacts},
                   {"reads", (word.known & study.code.lines) == 0
                                 ? Json::array()
                                 : names(study.code, study.code.decode(word))}});
  }
  return out;
}

Json faults_json(const Study& study, const std::vector<lever::LineFault>& faults) {
  Json out = Json::array();
  const lever::Ground ground(study.code, study.seen.observed);
  for (const auto& fault : faults)
    out.push_back({{"kind", fault.kind->name}, {"text", lever::text_of(ground, fault)}});
  return out;
}

Json hazard_json(const RangeCode& code, const lever::Hazard& hazard) {
  return {{"kind", name_of(hazard.danger)},
          {"position", code.positions[hazard.position]},
          {"reads", code.positions[hazard.reads]},
          {"certain", hazard.certain},
          {"text", lever::text_of(code, hazard)}};
}

Json explanations_json(const Study& study) {
  Json out = Json::array();
  for (const auto& one : study.explained.explanations) {
    Json alike = Json::array(), hazards = Json::array();
    for (const auto& other : one.alike) alike.push_back(faults_json(study, other));
    for (const auto& hazard : one.hazards) hazards.push_back(hazard_json(study.code, hazard));
    out.push_back({{"faults", faults_json(study, one.faults)},
                   {"probability", one.probability},
                   {"same_wiring", alike},
                   {"silent", one.silent},
                   {"hazards", hazards}});
  }
  return out;
}

Json gears_json(const lever::GearStudy& study) {
  Json rows = Json::array(), trips = Json::array(), findings = Json::array();
  for (const auto& row : study.seen) {
    Json switches = Json::object();
    for (const auto& [name, seen] : row.switches)
      switches[name] = {{"state", seen.state == 'c'   ? "closed"
                                  : seen.state == 'o' ? "open"
                                  : seen.state == 'w' ? "neither"
                                                      : "not-read"},
                        {"after_s", seen.after_s},
                        {"changes", seen.changes}};
    rows.push_back({{"gear", row.gear},
                    {"switches", switches},
                    {"current_A", row.current_A ? Json(*row.current_A) : Json()},
                    {"expected_A", row.expected_A ? Json(*row.expected_A) : Json()},
                    {"not_driven", row.not_driven}});
  }
  for (const auto& trip : study.trips)
    trips.push_back({{"switch", trip.name},
                     {"trip_Pa", trip.trip_Pa ? Json(*trip.trip_Pa) : Json()},
                     {"reset_Pa", trip.reset_Pa ? Json(*trip.reset_Pa) : Json()},
                     {"step_Pa", trip.step_Pa}});
  for (const auto& f : study.findings)
    findings.push_back({{"kind", f.kind},
                        {"part", f.part},
                        {"text", f.text},
                        {"pins", f.pins},
                        {"evidence", f.evidence},
                        {"next", f.next}});
  return {{"verdict", name_of(study.verdict)},
          {"rows", rows},
          {"trips", trips},
          {"findings", findings}};
}

}  // namespace

std::string lever_json(const std::string& profile_name, const Study& study,
                       const lever::GearStudy* gears) {
  Json hazards = Json::array(), walk = Json::array(), remarks = Json::array();
  for (const auto& hazard : study.explained.hazards)
    hazards.push_back(hazard_json(study.code, hazard));
  for (const auto& one : study.walk)
    walk.push_back({{"from_s", one.from_s},
                    {"settled_s", one.at_s},
                    {"code", study.code.text(one.word)},
                    {"reads", names(study.code, one.positions)},
                    {"bounces", one.bounces}});
  for (const auto& remark : study.seen.remarks) remarks.push_back(remark);
  const auto& next = study.explained.next;
  return Json{{"schema", "pinproof/lever/1"},
              {"profile", profile_name},
              {"verdict",
               name_of(gears ? inspection::worse(study.verdict, gears->verdict) : study.verdict)},
              {"lever_verdict", name_of(study.verdict)},
              {"level", "static"},
              {"why", study.why},
              {"positions", positions_json(study)},
              {"walk", walk},
              {"explanations", explanations_json(study)},
              {"hazards", hazards},
              {"next_position", next ? Json(study.code.positions[next->position]) : Json()},
              {"remarks", remarks},
              {"gears", gears ? gears_json(*gears) : Json()}}
             .dump(2) +
         "\n";
}

}  // namespace pinproof::report
