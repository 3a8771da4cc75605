// What a bench can see, as text and as JSON.
#include <cstdio>
#include <functional>
#include <nlohmann/json.hpp>

#include "quantity/lines.h"
#include "quantity/phrase.h"
#include "quantity/text.h"
#include "report/diagnosis.h"

namespace pinproof::report {
namespace {

using diagnosis::Coverage;
using diagnosis::Group;
using diagnosis::Probe;
using diagnosis::Scene;
using Json = nlohmann::ordered_json;

std::string name_of(const diagnosis::Instance& fault) {
  return text_of(diagnosis::Guess{fault.suspect, fault.size});
}

void row(std::string& out, const std::string& name, bool unweighted_only,
         const std::function<double(bool)>& rate) {
  std::string first = "  " + name;
  first.resize(36, ' ');
  out += first + percent(rate(false), 1);
  if (!unweighted_only) out += "   weighted by rates " + percent(rate(true), 1);
  out += "\n";
}

// Groups with the same members are one line.
void add_groups(const Coverage& coverage, std::string& out) {
  constexpr std::size_t kMost = 12;
  std::size_t told = 0, more = 0;
  for (const Group& group : coverage.groups) {
    if (group.separation < diagnosis::kApart || group.alike.empty()) continue;
    if (told == 0) out += "\nNot told apart\n";
    if (++told > kMost) {
      ++more;
      continue;
    }
    std::string text = name_of(group.fault);
    for (const auto* other : group.alike) text += " | " + other->text;
    wrap(out, "  - ", harmless(text));
  }
  if (more > 0) out += "  and " + std::to_string(more) + " more (see --json)\n";
}

}  // namespace

std::string coverage_text(const Scene& scene, const std::vector<Probe>& probes, const Coverage& c,
                          const diagnosis::Trials& trials) {
  std::string out;
  wrap(out, "", scene.model().profile().name);
  out += std::to_string(c.faults()) + " faults, " + std::to_string(probes.size()) + " probes\n\n";
  row(out, "detected", false, [&](bool w) { return c.detection_rate(w); });
  for (const std::size_t size : {std::size_t{1}, std::size_t{2}, std::size_t{3}})
    row(out, "of these told to " + std::to_string(size), false,
        [&](bool w) { return c.isolation_rate(size, w); });
  char group[64];
  std::snprintf(group, sizeof group, "  %-34s%.2f faults\n", "expected group",
                c.expected_group(false));
  out += group;
  if (trials.packs > 0) {
    char text[200];
    std::snprintf(text, sizeof text,
                  "\n%zu good packs drawn: %zu false alarms, median %zu probings\n%zu faulty ones: "
                  "named %zu, unnoticed %zu, median %zu probings\n",
                  trials.packs, trials.false_alarms, trials.good_median, trials.packs, trials.named,
                  trials.unnoticed, trials.faulty_median);
    out += text;
  }
  bool head = false;
  for (const Group& one : c.groups) {
    if (one.separation >= diagnosis::kApart) continue;
    if (!head) out += "\nNot seen\n";
    head = true;
    wrap(out, "  - ", harmless(name_of(one.fault)) + ": " + why_unseen(scene, one));
  }
  add_groups(c, out);
  out += "\nShortest go/no-go list found: " + std::to_string(c.list.size()) + " probes\n";
  int number = 0;
  for (const std::size_t p : c.list) {
    char first[16];
    std::snprintf(first, sizeof first, "  %2d  ", ++number);
    wrap(out, first, harmless(text_of(scene, probes[p])));
  }
  return out;
}

std::string coverage_json(const Scene& scene, const std::vector<Probe>& probes, const Coverage& c,
                          const diagnosis::Trials& trials) {
  Json unseen = Json::array(), groups = Json::array(), list = Json::array();
  for (const Group& one : c.groups) {
    if (one.separation < diagnosis::kApart) {
      unseen.push_back({{"fault", name_of(one.fault)},
                        {"kind", one.fault.suspect->kind_at(one.fault.size)},
                        {"separation", one.separation},
                        {"reason", why_unseen(scene, one)}});
    } else if (!one.alike.empty()) {
      Json alike = Json::array();
      for (const auto* other : one.alike) alike.push_back(other->text);
      groups.push_back({{"fault", name_of(one.fault)}, {"alike", std::move(alike)}});
    }
  }
  for (const std::size_t p : c.list) list.push_back(text_of(scene, probes[p]));
  Json drawn = nullptr;
  if (trials.packs > 0)
    drawn = Json{{"packs", trials.packs},
                 {"false_alarms", trials.false_alarms},
                 {"named", trials.named},
                 {"unnoticed", trials.unnoticed},
                 {"median_probings_good", trials.good_median},
                 {"median_probings_faulty", trials.faulty_median}};
  const Json out{{"schema", "pinproof/coverage/1"},
                 {"profile", scene.model().profile().name},
                 {"faults", c.faults()},
                 {"detected", c.detected()},
                 {"detection_rate", c.detection_rate(false)},
                 {"detection_rate_weighted", c.detection_rate(true)},
                 {"isolated_to_1", c.isolation_rate(1, false)},
                 {"isolated_to_2", c.isolation_rate(2, false)},
                 {"isolated_to_3", c.isolation_rate(3, false)},
                 {"isolated_to_1_weighted", c.isolation_rate(1, true)},
                 {"expected_group", c.expected_group(false)},
                 {"probings", c.list.size()},
                 {"drawn", std::move(drawn)},
                 {"list", std::move(list)},
                 {"unseen", std::move(unseen)},
                 {"not_told_apart", std::move(groups)}};
  return out.dump(2) + "\n";
}

}  // namespace pinproof::report
