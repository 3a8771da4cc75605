// Every lever contact in every position against the code table.
#include <algorithm>
#include <map>

#include "inspection/checks/contacts.h"
#include "quantity/text.h"

namespace pinproof::inspection {
namespace {

using profile::Part;

constexpr std::string_view kName = "lever-table";

struct LeverPair {
  network::ContactPair at;
  // One terminal where no other pair begins there, otherwise both: two contacts on one feed are two
  // questions.
  std::string name;
};

std::vector<LeverPair> lever_pairs(const profile::Profile& profile) {
  auto pairs = network::contact_pairs(profile);
  std::erase_if(pairs, [](const auto& pair) {
    return std::none_of(pair.parts.begin(), pair.parts.end(),
                        [](const Part* p) { return p->contact(); });
  });
  std::vector<LeverPair> out;
  for (const auto& pair : pairs) {
    const bool alone = std::count_if(pairs.begin(), pairs.end(), [&](const auto& other) {
                         return other.from == pair.from;
                       }) == 1;
    out.push_back({pair, alone ? pair.from : pair.from + "-" + pair.to});
  }
  return out;
}

record::Key key(const LeverPair& pair, const profile::LeverPosition& position) {
  return {std::string(kName), pair.name, position.name};
}

network::PackState at(std::size_t position) {
  network::PackState state;
  state.lever = position;
  return state;
}

void plan_lever(const profile::Profile& profile, const Capabilities& can, Plan& plan) {
  if (!profile.lever) return;
  for (std::size_t i = 0; i < profile.lever->positions.size(); ++i) {
    for (const auto& pair : lever_pairs(profile)) {
      const auto k = key(pair, profile.lever->positions[i]);
      if (!can.lever)
        plan.skip(k, "this bench cannot move the lever");
      else
        plan.add(contact_step(profile, pair.at, at(i), k, Phase::lever));
    }
  }
}

std::string names_of(const network::ContactPair& pair) {
  std::vector<std::string> names;
  for (const Part* part : pair.parts) names.push_back(part->name);
  return list_of(names);
}

struct Miss {
  std::string position;
  std::string text;
  bool expected_closed;
  bool permit;  // the start-permit contact is on this pair
};

// One finding a pair of terminals, not one a position.
void add_finding(const network::ContactPair& pair, const std::vector<Miss>& misses,
                 Judgement& out) {
  const bool all_open =
      std::all_of(misses.begin(), misses.end(), [](const Miss& m) { return m.expected_closed; });
  const bool all_closed =
      std::none_of(misses.begin(), misses.end(), [](const Miss& m) { return m.expected_closed; });
  Finding f{all_open     ? "contact-stuck-open"
            : all_closed ? "contact-stuck-closed"
                         : "wrong-code",
            names_of(pair),
            "",
            {pair.from, pair.to},
            {},
            ""};
  std::vector<std::string> positions;
  for (const Miss& miss : misses) {
    positions.push_back(miss.position);
    f.evidence.push_back(miss.position + ": " + miss.text);
  }
  f.text = names_of(pair) + " (pin " + pair.from + ") " +
           (all_open     ? "does not close properly in "
            : all_closed ? "conducts where it must be open, in "
                         : "reads wrongly in ") +
           list_of(positions) + ".";
  f.next =
      "A stuck or dirty contact, a bridged, swapped or broken wire, or the lever is a step off: "
      "compare the whole table.";
  if (std::any_of(misses.begin(), misses.end(),
                  [](const Miss& m) { return m.permit && !m.expected_closed; }))
    f.next = "DANGER: the engine could be allowed to start in " + list_of(positions) +
             ". Do not fit this pack. " + f.next;
  out.findings.push_back(std::move(f));
}

bool permits_start(const profile::Profile& profile, const network::ContactPair& pair) {
  return std::any_of(pair.parts.begin(), pair.parts.end(),
                     [&](const Part* p) { return p->name == profile.lever->start_permit; });
}

char as_bit(char seen) { return seen == 'c' ? '0' : seen == 'o' ? '1' : '?'; }

struct LeverTable {
  std::vector<LeverRow> rows;
  std::map<std::string, std::vector<Miss>> misses;  // by LeverPair::name
};

void judge_cell(const Evidence& evidence, const LeverPair& pair, std::size_t position,
                LeverTable& table, Judgement& out) {
  const auto& profile = evidence.profile();
  const auto& where = profile.lever->positions[position];
  Result result =
      missing(evidence, key(pair, where), "Lever " + where.name + ": " + names_of(pair.at));
  const auto expected = network::expectation(profile, pair.at, at(position));
  char seen = '?';
  if (const auto* reading = evidence.reading(key(pair, where))) {
    judge_contact(evidence, pair.at, at(position), *reading, result, seen);
    // "Any" in the table asks nothing of this cell; the reading is shown all the same.
    if (!expected) result.required = false;
    if (result.outcome == Outcome::fail)
      table.misses[pair.name].push_back(
          {where.name, result.text, expected->closed, permits_start(profile, pair.at)});
  }
  LeverRow& row = table.rows[position];
  row.contacts.push_back(names_of(pair.at));
  row.expected.push_back(!expected ? 'x' : expected->closed ? '0' : '1');
  row.seen.push_back(as_bit(seen));
  out.results.push_back(std::move(result));
}

void judge_lever(const Evidence& evidence, Judgement& out) {
  const auto& profile = evidence.profile();
  if (!profile.lever) return;
  LeverTable table;
  const auto pairs = lever_pairs(profile);
  for (std::size_t i = 0; i < profile.lever->positions.size(); ++i) {
    table.rows.push_back({profile.lever->positions[i].name, {}, {}, {}});
    for (const auto& pair : pairs) judge_cell(evidence, pair, i, table, out);
  }
  for (const auto& pair : pairs)
    if (const auto it = table.misses.find(pair.name); it != table.misses.end())
      add_finding(pair.at, it->second, out);
  out.lever = std::move(table.rows);
}

}  // namespace

const CheckKind kLeverTable{.name = kName,
                            .heading = "Lever table",
                            .driven = false,
                            .plan = plan_lever,
                            .follow_up = nullptr,
                            .judge = judge_lever};

}  // namespace pinproof::inspection
