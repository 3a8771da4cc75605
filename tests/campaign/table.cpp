#include "campaign/table.h"

#include <algorithm>
#include <cstdio>
#include <map>
#include <nlohmann/json.hpp>

#include "metrology/lot_series.h"

namespace pinproof::campaign {
namespace {

using Json = nlohmann::ordered_json;

constexpr double kMostRejected = 0.001;  // of good packs on a good bench

struct Tally {
  std::size_t cases = 0, accepted = 0, rejected = 0, held = 0, bench = 0, threw = 0;
  std::size_t false_accepts = 0, false_rejects = 0, good = 0, bad = 0;
  std::size_t named = 0, nameable = 0;

  void add(const Came& c) {
    ++cases, ++(c.one.bad_pack() ? bad : good);
    if (c.threw)
      ++threw;
    else if (c.exit_code == 0)
      ++accepted;
    else if (c.exit_code == 1)
      ++rejected;
    else
      ++(c.exit_code == 4 ? bench : held);
    false_accepts += c.false_accept(), false_rejects += c.false_reject();
    if (c.named) ++nameable, named += *c.named;
  }
};

// The two-sided 90 % interval's end is the 95 % bound of one side.
double bound(std::size_t k, std::size_t n) {
  return n == 0 ? 1 : metrology::share_interval(k, n, 0.90).high;
}

std::string percent(double share) {
  char text[16];
  std::snprintf(text, sizeof text, share < 0.0995 ? "%.3f %%" : "%.1f %%", 100 * share);
  return text;
}

template <class Key>
std::map<std::string, Tally> tallies(const std::vector<Came>& all, const Key& key) {
  std::map<std::string, Tally> out;
  for (const Came& c : all)
    if (const std::string name = key(c); !name.empty()) out[name].add(c);
  return out;
}

std::string by_stratum(const Came& c) {
  const auto at = std::to_string(static_cast<int>(c.one.stratum));
  return at + std::string(name_of(c.one.stratum)) + ", " + c.one.level();
}

std::string by_pack_fault(const Came& c) {
  return c.one.stratum == Stratum::one_fault ? c.one.pack.front().kind : "";
}

std::string by_bench_fault(const Came& c) { return c.one.bench; }

template <class... Values>
void line(std::string& out, const char* format, Values... values) {
  char text[200];
  std::snprintf(text, sizeof text, format, values...);
  out += text;
}

void add_strata(std::string& out, const std::vector<Came>& all) {
  line(out, "%-34s%7s%7s%7s%6s%7s%15s\n", "", "cases", "accept", "reject", "hold", "bench",
       "false at most");
  for (const auto& [name, t] : tallies(all, by_stratum)) {
    const bool bad = t.bad > 0;
    const std::string most =
        (bad ? "acc. " : "rej. ") +
        percent(bad ? bound(t.false_accepts, t.bad) : bound(t.false_rejects, t.good));
    line(out, "%-34s%7zu%7zu%7zu%6zu%7zu%15s\n", name.substr(1).c_str(), t.cases, t.accepted,
         t.rejected, t.held, t.bench, most.c_str());
  }
}

void add_totals(std::string& out, const std::vector<Came>& all) {
  std::size_t accepts = 0, bad = 0, rejects = 0, held = 0, good = 0;
  for (const Came& c : all) {
    if (c.one.bad_pack() && !c.one.by_chance()) ++bad, accepts += c.false_accept();
    if (!c.good_on_good()) continue;
    ++good, rejects += c.rejected(), held += !c.rejected() && !c.accepted();
  }
  line(out, "\nbad packs accepted           %zu of %zu, at most %s (95 %%)\n", accepts, bad,
       percent(bound(accepts, bad)).c_str());
  line(out, "good packs rejected          %zu of %zu, at most %s (good bench)\n", rejects, good,
       percent(bound(rejects, good)).c_str());
  line(out, "good packs held              %zu of %zu, at most %s (good bench)\n", held, good,
       percent(bound(held, good)).c_str());
}

void add_pack_faults(std::string& out, const std::vector<Came>& all) {
  line(out, "\n%-34s%7s%7s%7s%6s%7s%9s\n", "one pack fault, good bench", "cases", "accept",
       "reject", "hold", "bench", "named");
  for (const auto& [name, t] : tallies(all, by_pack_fault)) {
    const std::string named =
        t.nameable == 0 ? "" : std::to_string(t.named) + "/" + std::to_string(t.nameable);
    line(out, "%-34s%7zu%7zu%7zu%6zu%7zu%9s\n", name.c_str(), t.cases, t.accepted, t.rejected,
         t.held, t.bench, named.c_str());
  }
}

void add_bench_faults(std::string& out, const std::vector<Came>& all) {
  line(out, "\n%-22s%7s%10s%10s%10s%11s%10s\n", "bench fault", "cases", "good pack", "good pack",
       "bad pack", "bench", "held");
  line(out, "%-22s%7s%10s%10s%10s%11s%10s\n", "", "", "accepted", "rejected", "accepted", "fault",
       "");
  const auto all_of = tallies(all, by_bench_fault);
  for (const auto& [name, t] : all_of) {
    const auto good = static_cast<std::size_t>(
        std::count_if(all.begin(), all.end(), [&, &bench = name](const Came& c) {
          return c.one.bench == bench && !c.one.bad_pack() && c.accepted();
        }));
    line(out, "%-22s%7zu%10zu%10zu%10zu%11zu%10zu\n", name.c_str(), t.cases, good, t.false_rejects,
         t.false_accepts, t.bench, t.held);
  }
}

void add_wrong(std::string& out, const std::vector<Came>& all, std::uint64_t seed) {
  std::string list;
  for (const Came& c : all) {
    const char* what = c.threw                             ? "threw"
                       : c.false_accept()                  ? "bad pack accepted"
                       : c.false_reject()                  ? "good pack rejected"
                       : c.good_on_good() && !c.accepted() ? "good pack held"
                       : c.accepted() && c.one.by_chance() ? "came at no time it was looked at"
                                                           : nullptr;
    if (what)
      list += "  --seed " + std::to_string(seed) + " --only " + std::to_string(c.one.number) +
              "  " + what + ": " + text_of(c.one) + (c.why.empty() ? "" : "\n      ") + c.why +
              "\n";
  }
  if (!list.empty()) out += "\nrepeat with: campaign --seed S --only I\n" + list;
}

Json json_of(const std::map<std::string, Tally>& tallies, bool numbered) {
  Json out = Json::array();
  for (const auto& [name, t] : tallies)
    out.push_back({{"of", numbered ? name.substr(1) : name},
                   {"cases", t.cases},
                   {"accepted", t.accepted},
                   {"rejected", t.rejected},
                   {"held", t.held},
                   {"bench_fault", t.bench},
                   {"threw", t.threw},
                   {"false_accepts", t.false_accepts},
                   {"false_rejects", t.false_rejects},
                   {"named", t.named},
                   {"nameable", t.nameable},
                   {"false_accepts_at_most", bound(t.false_accepts, t.bad)},
                   {"false_rejects_at_most", bound(t.false_rejects, t.good)}});
  return out;
}

// By class of the simulator, what the finding is called.
const std::map<std::string_view, std::vector<std::string_view>> kNames{
    {"coil open", {"coil-open"}},
    {"coil shorted", {"coil-shorted", "resistance-low"}},
    {"coil joint", {"resistance-high", "unmatched-coil"}},
    {"coil heating-joint", {"load-dependent-resistance"}},
    {"coil case-leak", {"leak", "bridge", "contamination"}},
    {"coil stuck-open", {"no-plunger-motion"}},
    {"coil stuck-seated", {"no-plunger-motion", "inductance-high"}},
    {"coil weak-spring", {"weak-spring"}},
    {"coil suppression-missing", {"suppression-missing"}},
    {"coil suppression-reversed", {"draws-too-much"}},
    {"coil suppression-shorted", {"coil-shorted"}},
    {"wire open", {"lost-ground", "wire-open", "feed-open"}},
    {"wire resistance", {"high-resistance-ground", "wire-resistance", "feed-resistance"}},
    {"wire broken-strands", {"high-resistance-ground", "wire-resistance", "feed-resistance"}},
    {"switch stuck-closed", {"switch-stuck-closed"}},
    {"switch stuck-open", {"switch-stuck-open"}},
    {"switch trip-high", {"switch-stuck-open", "switch-stuck-closed"}},
    {"switch series-drift", {"series-resistance"}},
    {"contact stuck-closed", {"contact-stuck-closed", "wrong-code"}},
    {"contact stuck-open", {"contact-stuck-open", "wrong-code"}},
    {"thermistor open", {"thermistor-open"}},
    {"thermistor shorted", {"thermistor-short"}},
    {"thermistor drift", {"thermistor-drift", "thermistor-short"}},
    {"pin debris", {"leak", "bridge", "contamination"}},
    {"pack water", {"leak", "contamination", "bridge"}},
};

}  // namespace

std::optional<bool> named_right(const PackFault& fault, const inspection::Judgement& judgement) {
  const auto known = kNames.find(fault.kind);
  if (known == kNames.end()) return std::nullopt;
  // A leak is found on a circuit, and the case is nobody's part.
  const bool on_part = !fault.kind.starts_with("p") && !fault.kind.ends_with("leak");
  return std::any_of(
      judgement.findings.begin(), judgement.findings.end(), [&](const inspection::Finding& f) {
        const bool kind =
            std::find(known->second.begin(), known->second.end(), f.kind) != known->second.end();
        return kind && (!on_part || f.kind == "unmatched-coil" ||
                        f.part.find(fault.part) != std::string::npos);
      });
}

std::string table_text(const std::vector<Came>& all, std::uint64_t seed) {
  std::string out;
  add_strata(out, all);
  add_totals(out, all);
  add_pack_faults(out, all);
  add_bench_faults(out, all);
  add_wrong(out, all, seed);
  return out;
}

std::string table_json(const std::vector<Came>& all, std::uint64_t seed) {
  Json wrong = Json::array();
  for (const Came& c : all)
    if (c.threw || c.false_accept() || c.false_reject())
      wrong.push_back({{"case", c.one.number}, {"exit_code", c.exit_code}, {"of", text_of(c.one)}});
  return Json{{"seed", seed},
              {"cases", all.size()},
              {"strata", json_of(tallies(all, by_stratum), true)},
              {"pack_faults", json_of(tallies(all, by_pack_fault), false)},
              {"bench_faults", json_of(tallies(all, by_bench_fault), false)},
              {"wrong", wrong}}
             .dump(1) +
         "\n";
}

bool holds(const std::vector<Came>& all) {
  std::size_t good = 0, rejected = 0;
  for (const Came& c : all) {
    if (c.threw || c.false_accept()) return false;
    good += c.good_on_good(), rejected += c.good_on_good() && c.rejected();
  }
  return static_cast<double>(rejected) <= kMostRejected * static_cast<double>(good);
}

}  // namespace pinproof::campaign
