#include "screen/findings.h"

#include <nlohmann/json.hpp>

namespace pinproof::screen {
namespace {

using Json = nlohmann::ordered_json;

std::string line(const Json& json) {
  return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

Json faults_json(const diagnosis::Explanation& one) {
  Json out = Json::array();
  for (const auto& guess : one.faults)
    out.push_back({{"kind", guess.suspect->kind_at(guess.size)},
                   {"part", guess.suspect->part},
                   {"pins", guess.suspect->nodes},
                   {"text", text_of(guess)}});
  return out;
}

Json explanations_json(const diagnosis::Conclusion& c) {
  Json out = Json::array();
  for (const auto& one : c.named)
    out.push_back({{"probability", one.probability},
                   {"name", one.faults.empty() ? "nothing is wrong" : text_of(one)},
                   {"faults", faults_json(one)}});
  if (c.ranking.none_of_these > 0.005)
    out.push_back({{"probability", c.ranking.none_of_these},
                   {"name", "none of these"},
                   {"faults", Json::array()}});
  return out;
}

Json side_json(const diagnosis::ConclusionInput& in, const network::Situation& situation,
               std::size_t node, PinName name) {
  const auto& model = in.scene->model();
  std::vector<std::string> nodes{model.name(node)};
  for (const auto& group : situation.tied) {
    if (group.front() != node) continue;
    nodes.clear();
    for (const std::size_t one : group) nodes.push_back(model.name(one));
  }
  std::string called = name(model.profile(), nodes.front());
  if (nodes.size() > 1) called += " and " + std::to_string(nodes.size() - 1) + " more, tied";
  return {{"node", nodes.front()}, {"nodes", nodes}, {"name", called}};
}

Json next_json(const diagnosis::ConclusionInput& in, const diagnosis::Conclusion& c, PinName name) {
  if (!c.next) return nullptr;
  const auto& probe = (*in.probes)[c.next->probe];
  const auto& situation = in.scene->situations()[probe.situation];
  return {{"red", side_json(in, situation, probe.sight.c, name)},
          {"black", side_json(in, situation, probe.sight.d, name)},
          {"condition", diagnosis::situation_text(in.scene->model().profile(), situation)},
          {"text", text_of(*in.scene, probe)}};
}

Json codes_json(const diagnosis::Conclusion& c) {
  Json out = Json::array();
  for (const auto& code : c.codes) {
    std::string text = code.meaning + ": " + std::string(name_of(code.standing));
    if (!code.why.empty()) text += ". " + code.why;
    if (!code.test.empty()) text += " " + code.test;
    out.push_back({{"code", code.code}, {"text", text}});
  }
  return out;
}

const char* outcome_of(const diagnosis::Conclusion& c) {
  using Outcome = diagnosis::Conclusion::End;
  return c.outcome == Outcome::good ? "good" : c.outcome == Outcome::fault ? "fault" : "open";
}

std::string reads_text(const lever::RangeCode& code, const lever::Word& word) {
  std::string out;
  if ((word.known & code.lines) == 0) return "";
  for (const std::size_t p : code.decode(word))
    out += (out.empty() ? "" : " or ") + code.positions[p];
  return out.empty() ? "no code" : out;
}

// As the table shows it: 'w' where a contact reads neither open nor closed.
std::string seen_text(const lever::RangeCode& code, const lever::Word& word, lever::Mask weak) {
  std::string out = code.text(word, false);
  for (std::size_t k = 0; k < out.size(); ++k)
    if ((weak & (lever::Mask{1} << k)) != 0) out[k] = 'w';
  return out;
}

// Right only where all that can be read there has been read: before that nobody knows, which is
// null. One wrong or weak contact is enough to know better.
Json right_json(const lever::RangeCode& code, std::size_t position, const lever::Word& word,
                lever::Mask weak) {
  const lever::Mask readable = code.readable(position);
  if (!agree(word, code.words[position]) || weak != 0) return false;
  if ((word.known & readable) != readable) return nullptr;
  return true;
}

std::vector<std::string> contacts_of(const lever::RangeCode& code) {
  std::vector<std::string> out;
  for (const auto& column : code.columns) out.push_back(column.contact);
  return out;
}

}  // namespace

std::string ranking_json(const diagnosis::ConclusionInput& input, const diagnosis::Conclusion& c,
                         PinName name, bool done) {
  Json exonerated = Json::array();
  for (const auto& part : c.exonerated) exonerated.push_back(part.part);
  Json remarks = c.remarks;
  for (const auto& fault : c.masked)
    remarks.push_back("Hidden by the fault, test again after the repair: " + fault);
  return line({{"explanations", explanations_json(c)},
               {"next", done ? Json() : next_json(input, c, name)},
               {"codes", codes_json(c)},
               {"exonerated", std::move(exonerated)},
               {"untested", c.untested},
               {"outcome", outcome_of(c)},
               {"text", c.sentence},
               {"remarks", std::move(remarks)},
               {"done", done}});
}

std::string hazard_text(const lever::RangeCode& code, const lever::Word& word,
                        std::size_t position) {
  std::vector<lever::Word> words(code.positions.size());
  words.at(position) = word;
  for (const auto& hazard : lever::hazards_of(code, words))
    if (hazard.position == position && hazard.certain) return lever::text_of(code, hazard);
  return "";
}

std::string lever_live_json(const LeverTold& told) {
  const auto& code = *told.code;
  std::string hazard;
  for (std::size_t p = 0; p < code.positions.size(); ++p)
    if (code.positions[p] == told.position) hazard = hazard_text(code, told.word, p);
  return line({{"position", told.position},
               {"contacts", contacts_of(code)},
               {"bits", told.bits},
               {"reads", reads_text(code, told.word)},
               {"expected", told.expected},
               {"moving", told.moving},
               {"hazard", hazard}});
}

std::string lever_result_json(const lever::Study& study) {
  const auto& code = study.code;
  Json positions = Json::array();
  const auto& [seen, weak_seen] = study.seen.observed;
  for (std::size_t p = 0; p < code.positions.size() && p < seen.size(); ++p) {
    const lever::Mask weak = p < weak_seen.size() ? weak_seen[p] & code.readable(p) : 0;
    positions.push_back({{"position", code.positions[p]},
                         {"expected", code.text(code.words[p], false)},
                         {"seen", seen_text(code, seen[p], weak)},
                         {"reads", reads_text(code, seen[p])},
                         {"ok", right_json(code, p, seen[p], weak)}});
  }
  Json explanations = Json::array();
  for (std::size_t k = 0; k < study.texts.size() && k < 10; ++k)
    explanations.push_back(study.texts[k]);
  return line({{"verdict", name_of(study.verdict)},
               {"level", "static"},
               {"why", study.why},
               {"contacts", contacts_of(code)},
               {"positions", std::move(positions)},
               {"hazards", lever::texts_of(code, study.explained.hazards)},
               {"explanations", std::move(explanations)},
               {"not_tested", study.seen.remarks}});
}

std::vector<inspection::LeverRow> rows_of(const lever::RangeCode& code,
                                          const std::vector<lever::Word>& seen) {
  std::vector<inspection::LeverRow> out;
  for (std::size_t p = 0; p < code.positions.size(); ++p) {
    const std::string expected = code.text(code.words[p], false);
    const std::string read = code.text(p < seen.size() ? seen[p] : lever::Word{}, false);
    out.push_back({code.positions[p],
                   contacts_of(code),
                   {expected.begin(), expected.end()},
                   {read.begin(), read.end()}});
  }
  return out;
}

}  // namespace pinproof::screen
