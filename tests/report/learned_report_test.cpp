// The report of learned limits: what is said loudly, what is told of lots, and the source text.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>
#include <sstream>
#include <string>

#include "report/learned.h"

using namespace pinproof;
using report::Fate;
using report::LearnedCase;
using report::LearnedFigure;

namespace {

// Made to be plain: lot j lies around 24 + step j, all lots scatter alike, near to normal.
metrology::ValuesByLot made_lots(std::size_t lots, std::size_t packs, double step) {
  metrology::ValuesByLot out(lots);
  for (std::size_t k = 0; k < packs; ++k)
    for (std::size_t j = 0; j < lots; ++j) {
      const double p = (double(k * lots + j) + 0.5) / double(lots * packs);
      out[j].push_back(24 + step * double(j) + 0.1 * std::log(p / (1 - p)));
    }
  return out;
}

LearnedFigure figure_of(const metrology::ValuesByLot& lots, const metrology::Learning& how) {
  LearnedFigure f;
  f.pointer = "/parts/1/resistance_ohm", f.title = "Coil S1: resistance at 20 °C";
  f.unit = Unit::ohm, f.present = Interval{22.8, 25.2}, f.lots = lots;
  f.learned = metrology::learn_limits(lots, how);
  f.limits = f.learned.limits, f.guard_share = 0.1, f.evidence = "abc";
  f.fate = f.limits ? Fate::learned : Fate::refused;
  if (!f.limits) f.why = "No limits: " + metrology::refusal_text(f.learned.refusal) + ".";
  return f;
}

LearnedCase case_of(std::size_t lots, std::size_t packs, double step, bool few_lots = false) {
  LearnedCase out;
  out.profile = "a pack", out.old_hash = std::string(64, 'a'), out.ledger = "ledger.sqlite";
  out.date = "2026-11-26", out.packs = lots * packs, out.how.allow_few_lots = few_lots;
  for (std::size_t j = 0; j < lots; ++j) out.lots.push_back("L" + std::to_string(j + 1));
  out.figures.push_back(figure_of(made_lots(lots, packs, step), out.how));
  return out;
}

// Lines joined, so that words are found wherever they were wrapped.
std::string unwrapped(const std::string& text) {
  std::string out;
  for (const char c : text)
    if (c != '\n' && c != ' ')
      out += c;
    else if (!out.ends_with(' '))
      out += ' ';
  return out;
}

void check_words(const LearnedCase& one, std::initializer_list<const char*> words) {
  const std::string text = unwrapped(report::learned_text(one));
  for (const char* w : words) CHECK_MESSAGE(text.find(w) != std::string::npos, w << "\n" << text);
}

void check_columns(const std::string& text) {
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);) {
    const auto used = std::count_if(line.begin(), line.end(), [](char c) {
      return (static_cast<unsigned char>(c) & 0xC0) != 0x80;
    });
    CHECK_MESSAGE(used <= 80, line);
  }
}

}  // namespace

TEST_CASE("thirty packs of six like lots: the exact factor, and nothing to warn of") {
  LearnedCase one = case_of(6, 5, 0);
  // 3.3546 for 30 parts, 99 % coverage, 95 % confidence: tables of ISO 16269-6.
  check_words(one, {"LEARNED 1 limit from 30 known-good packs in 6 lots", "k 3.3546", "[learned]",
                    "95 % confidence of 99 % coverage where lots are alike",
                    "for lots to come: 95 %", "No profile was written", "the maker states"});
  CHECK(report::learned_text(one).find("FEW LOTS") == std::string::npos);
  check_columns(report::learned_text(one));
  one.out = "new.json", one.new_hash = std::string(64, 'b');
  check_words(one, {"Profile written, its SHA-256 and file: bbb", "new.json"});
}

TEST_CASE("lots that differ: the true confidence is told, and the warning stands on top") {
  const LearnedCase one = case_of(5, 6, 0.3);
  check_words(one, {"WARNING: 1 limit LESS SURE FOR LOTS TO COME than asked",
                    "LOTS DIFFER: true for lots to come only with"});
  const auto json = nlohmann::json::parse(report::learned_json(one));
  const auto& f = json.at("figures").at(0);
  CHECK(f.at("confidence") == 0.95);
  CHECK(double(f.at("confidence_for_lots_to_come")) < 0.8);
  CHECK(double(f.at("share_between_lots")) > 0.5);
}

TEST_CASE("one lot: refused with what the confidence would be") {
  LearnedCase one = case_of(1, 30, 0);
  one.figures[0].if_between = {{0.1, 0.806}, {0.25, 0.5719}, {0.5, 0.0999999}};
  CHECK(one.one_lot_refused());
  CHECK(one.learned() == 0);
  check_words(one, {"REFUSED: 30 known-good packs in 1 lot", "take packs of 5 lots or more",
                    "if 10 % / 25 % / 50 % of the variance were between lots, 80 % / 57 % / 9 %",
                    "No limits: one lot tells nothing"});
  check_columns(report::learned_text(one));
}

TEST_CASE("one lot allowed: learned, loudly, and the source says so") {
  LearnedCase one = case_of(1, 8, 0, true);
  one.figures[0].if_between = {{0.5, 0.4}};
  CHECK(!one.one_lot_refused());
  check_words(one, {"WARNING: 1 limit FROM FEWER THAN 5 LOTS; 1 limit PROVISIONAL",
                    "PROVISIONAL: 8 packs, fewer than 10.", "FEW LOTS: 1 lot",
                    "unknown: one lot; if 50 % of the variance were between lots, 40 %"});
  const std::string source = report::learned_source(one, one.figures[0]);
  CHECK(source.find("provisional, few lots, 2026-11-26") != std::string::npos);
  CHECK(source.find("unknown: one lot") != std::string::npos);
}

TEST_CASE("the source text names packs, lots, factor, both confidences, day and records") {
  const LearnedCase one = case_of(6, 5, 0);
  CHECK(report::learned_source(one, one.figures[0]) ==
        "learned from 30 packs in 6 lots, mean +- 3.355 standard deviations, 95 % confidence of "
        "99 % coverage (true for lots to come: 95 %), 2026-11-26, ledger records sha256:abc");
}

TEST_CASE("values that are not normal are told, but not where the method does not mind") {
  LearnedCase one = case_of(6, 5, 0);
  one.figures[0].lots[0][0] = 30;
  one.figures[0] = figure_of(one.figures[0].lots, one.how);
  check_words(one, {"from values that are NOT NORMAL", "NOT NORMAL (p "});
  one.how.method = metrology::LimitMethod::robust;
  one.figures[0] = figure_of(one.figures[0].lots, one.how);
  const std::string text = report::learned_text(one);
  CHECK(text.find("NOT NORMAL") == std::string::npos);
  check_words(one, {"median +- ", "robust standard deviations"});
}

TEST_CASE("left out, without a number, wider, wires and narrow limits are each told") {
  LearnedCase one = case_of(6, 5, 0);
  one.left_out = {{"rejected", 2}, {"no complete inspection", 1}}, one.rejected = 2;
  LearnedFigure& f = one.figures[0];
  f.fate = Fate::wider, f.why = "Wider than the present limit.", f.without_value = 3;
  f.wires_max_ohm = 0.1, f.guard_share = 0.7;
  one.figures.emplace_back().title = "Coil S1: time to release";
  check_words(one, {"NOTHING LEARNED: 0 limits", "Left out: 2 packs: rejected; 1 pack: no complete",
                    "(3 packs without a number)", "! Wider than the present limit.", "[wider]",
                    "high end less 100 mΩ", "take 70 % of the width", "come out too narrow",
                    "No pack gave a number for: Coil S1: time to release."});
}

TEST_CASE("the page draws each figure by lot with old and new limits, and escapes names") {
  LearnedCase one = case_of(6, 5, 0);
  one.lots[2] = "<b>&", one.figures[0].title = "Coil <i>: resistance";
  const std::string page = report::learned_html(one);
  const auto times = [&page](const std::string& what) {
    std::size_t n = 0;
    for (auto at = page.find(what); at != std::string::npos; at = page.find(what, at + 1)) ++n;
    return n;
  };
  CHECK(times("<svg") == 1);
  CHECK(times("class=\"dot\"") == 30);
  CHECK(times("<line class=\"lim\"") == 2);
  CHECK(times("<line class=\"m\"") == 2);
  CHECK(times("<b>&") == 0);
  CHECK(times("&lt;b&gt;&amp;") >= 1);
  CHECK(times("nan") == 0);
}

TEST_CASE("no values at all: nothing breaks, and JSON has null where nothing is known") {
  LearnedCase one;
  one.profile = "a pack";
  one.figures.emplace_back().title = "Coil S1: time to release";
  one.figures[0].learned = metrology::learn_limits({}, one.how);
  check_words(one, {"NOTHING LEARNED: 0 limits from 0 known-good packs", "No good pack is left."});
  const auto json = nlohmann::json::parse(report::learned_json(one));
  CHECK(json.at("figures").at(0).at("mean").is_null());
  CHECK(json.at("written").is_null());
  CHECK(report::learned_html(one).find("<svg") == std::string::npos);
}
