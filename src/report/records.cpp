#include "report/records.h"

#include <cmath>
#include <cstdio>
#include <map>
#include <nlohmann/json.hpp>
#include <set>

#include "quantity/lines.h"
#include "quantity/phrase.h"
#include "quantity/text.h"

namespace pinproof::report {
namespace {

using Json = nlohmann::ordered_json;

std::string dump(const Json& json) {
  return json.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

std::string minute_of(const std::string& started_at) {
  std::string out = started_at.substr(0, 16);
  if (out.size() > 10) out[10] = ' ';
  return out;
}

// "accept static", "reject (by hand accept)" would be too long: an override has a star.
std::string verdict_of(const record::Attempt& a) {
  if (!a.closed) return a.running ? "running" : "cut off";
  if (a.ended != "complete") return a.ended;
  return a.verdict + " " + a.level + (a.overridden ? "*" : "");
}

std::string name_or_dash(const std::string& text) { return text.empty() ? "-" : shortened(text); }

Json override_json(const std::optional<record::Override>& o) {
  if (!o) return {};
  return {{"verdict", o->verdict}, {"by", o->by}, {"why", o->why}, {"at", o->at}};
}

Json attempt_json(const record::Attempt& a) {
  return {{"id", a.id},
          {"serial", a.serial},
          {"lot", a.lot},
          {"profile_name", a.profile_name},
          {"profile_hash", a.profile_hash},
          {"bench_name", a.bench},
          {"started_at", a.started_at},
          {"ended", a.closed ? Json(a.ended) : Json()},
          {"verdict", a.closed ? Json(a.verdict) : Json()},
          {"level", a.closed ? Json(a.level) : Json()},
          {"why", a.why},
          {"overridden", override_json(a.overridden)}};
}

std::string number_text(const std::optional<Estimate>& value, Unit unit,
                        const std::string& outcome) {
  return value ? format_estimate(*value, unit) : outcome.empty() ? "not there" : outcome;
}

Json estimate_json(const std::optional<Estimate>& value) {
  if (!value) return {};
  return {{"value", value->value}, {"u", value->u}};
}

std::set<std::string> findings_of(const inspection::Judgement& judgement) {
  std::set<std::string> out;
  for (const auto& finding : judgement.findings) out.insert(finding.kind + " " + finding.part);
  return out;
}

bool differ(const Compared& c) {
  if (c.first_outcome != c.second_outcome) return true;
  if (!c.first || !c.second) return c.first.has_value() != c.second.has_value();
  return std::abs(c.second->value - c.first->value) > 2 * std::hypot(c.first->u, c.second->u);
}

}  // namespace

std::string records_text(const std::vector<record::Attempt>& attempts) {
  if (attempts.empty()) return "No record fits.\n";
  std::string out = padded("began (UTC)", 17) + padded("serial", 13) + padded("lot", 9) +
                    padded("verdict", 15) + "record\n";
  bool star = false;
  for (const auto& a : attempts) {
    const auto name = [](const std::string& text, std::size_t count) {
      return fitted(text.empty() ? "-" : harmless(text), count) + " ";
    };
    out += padded(minute_of(a.started_at), 16) + " " + name(a.serial, 12) + name(a.lot, 8) +
           padded(verdict_of(a), 14) + " " + a.id + "\n";
    star = star || a.overridden;
  }
  out += counted(attempts.size(), "record") + ".";
  if (star) out += " * somebody decided otherwise: see records show.";
  return out + "\n";
}

std::string records_json(const std::vector<record::Attempt>& attempts) {
  Json all = Json::array();
  for (const auto& a : attempts) all.push_back(attempt_json(a));
  return dump({{"records", all}});
}

Comparison compare(const record::Attempt& first, const inspection::Judgement& before,
                   const record::Attempt& second, const inspection::Judgement& after) {
  Comparison out{first, second, {}, {}, {}};
  std::map<findings::ResultId, std::size_t> at;
  for (const auto& r : before.results) {
    at.emplace(r.id(), out.figures.size());
    out.figures.push_back(
        {r.id(), r.title, r.unit, r.value, {}, std::string(name_of(r.outcome)), "", false});
  }
  for (const auto& r : after.results) {
    const auto found = at.find(r.id());
    if (found == at.end()) out.figures.push_back({r.id(), r.title, r.unit, {}, {}, "", "", false});
    Compared& c = found == at.end() ? out.figures.back() : out.figures[found->second];
    c.second = r.value;
    c.second_outcome = name_of(r.outcome);
    if (c.unit == Unit::none) c.unit = r.unit;
  }
  for (Compared& c : out.figures) c.changed = differ(c);
  const auto had = findings_of(before), has = findings_of(after);
  for (const auto& f : had)
    if (!has.contains(f)) out.gone.push_back(f);
  for (const auto& f : has)
    if (!had.contains(f)) out.come.push_back(f);
  return out;
}

std::string comparison_text(const Comparison& c, bool all) {
  std::string out;
  for (const auto& [name, a] : {std::pair{"First ", &c.first}, {"Second", &c.second}})
    out += std::string(name) + "  " + minute_of(a->started_at) + "  " + name_or_dash(a->serial) +
           "  " + verdict_of(*a) + "  " + a->id + "\n";
  if (c.first.profile_hash != c.second.profile_hash)
    wrap(out, "  ! ", "Judged by two profiles: limits may differ.");
  if (c.first.bench != c.second.bench)
    wrap(out, "  ! ", "Read on two benches: what differs may be theirs.");
  for (const auto& f : c.gone) wrap(out, "  ✔ gone: ", f);
  for (const auto& f : c.come) wrap(out, "  ✖ new:  ", f);
  std::size_t same = 0;
  for (const Compared& one : c.figures) {
    same += !one.changed;
    if (!one.changed && !all) continue;
    std::string text = number_text(one.first, one.unit, one.first_outcome) + " → " +
                       number_text(one.second, one.unit, one.second_outcome);
    if (one.first_outcome != one.second_outcome && one.first && one.second)
      text += " (" + one.first_outcome + " → " + one.second_outcome + ")";
    wrap(out, one.changed ? "  ≠ " : "  = ", harmless(one.title) + ": " + text);
  }
  return out + counted(same, "figure") +
         " the same within both uncertainties (k = 2) and with the same outcome.\n";
}

std::string comparison_json(const Comparison& c) {
  Json figures = Json::array();
  for (const Compared& one : c.figures)
    figures.push_back({{"id", findings::text_of(one.id)},
                       {"title", one.title},
                       {"unit", std::string(file_name(one.unit))},
                       {"first", estimate_json(one.first)},
                       {"second", estimate_json(one.second)},
                       {"first_outcome", one.first_outcome},
                       {"second_outcome", one.second_outcome},
                       {"changed", one.changed}});
  return dump({{"first", attempt_json(c.first)},
               {"second", attempt_json(c.second)},
               {"findings_gone", c.gone},
               {"findings_new", c.come},
               {"figures", figures}});
}

std::string history_text(const record::Ledger& ledger, const record::Attempt& attempt) {
  std::string out;
  const auto judged = ledger.judgements(attempt.id);
  if (judged.size() > 1)
    for (const auto& j : judged)
      wrap(out, "  Judged: ",
           j.verdict + " (level " + j.level + ") by profile " + j.profile_hash.substr(0, 12) +
               ", " + j.program + ": " + j.why);
  for (const auto& o : ledger.overrides(attempt.id))
    wrap(out, "  ! Decided otherwise: ",
         o.verdict + " by " + o.by + " at " + o.at + ": " + o.why + " The verdict of the " +
             "measurement stays " + attempt.verdict + ".");
  return out.empty() ? out : "\nHistory\n" + out;
}

std::string verified_text(const record::Verified& v) {
  std::string out = counted(v.attempts, "record") + ", " + counted(v.events, "event") + ", " +
                    std::to_string(v.entries) + " entries in the chain";
  out += v.still_open > 0 ? "; " + std::to_string(v.still_open) + " not finished.\n" : ".\n";
  for (const auto& problem : v.problems) wrap(out, "  ✖ ", problem);
  if (!v.problems.empty()) return out + "The ledger was CHANGED after it was written.\n";
  out +=
      "✔ Nothing was changed. Head of the chain:\n  " + (v.head.empty() ? "none" : v.head) + "\n";
  wrap(out, "  ",
       "Write the head down elsewhere: with --head it proves later that nothing at the end was "
       "cut away.");
  return out;
}

std::string verified_json(const record::Verified& v) {
  return dump({{"records", v.attempts},
               {"events", v.events},
               {"entries", v.entries},
               {"unfinished", v.still_open},
               {"head", v.head},
               {"unchanged", v.problems.empty()},
               {"problems", v.problems}});
}

}  // namespace pinproof::report
