#include "report/key_figures.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <vector>

#include "quantity/text.h"
#include "report/page.h"

namespace pinproof::report {
namespace {

using inspection::Outcome;
using inspection::Result;

constexpr std::size_t kCoils = 9, kColumns = 5;

// "Coil A: time to seating" -> "time to seating".
std::string what_of(const Result& r) {
  const auto at = r.title.rfind(": ");
  return at == std::string::npos ? r.title : r.title.substr(at + 2);
}

bool has_number(const Result& r) { return r.value && r.limit && r.value->usable(); }

// An open coil has no number, and a row all the same.
bool of_a_coil(const Result& r) {
  if (r.check == "coil-resistance") return r.unit != Unit::percent;
  return r.check == "coil-drive" && has_number(r) && r.unit != Unit::percent;
}

std::string limits(const Result& r) {
  const auto end = [&](double v) { return format_si(v, r.unit, 3); };
  if (!std::isfinite(r.limit->low)) return "at most " + end(r.limit->high);
  if (!std::isfinite(r.limit->high)) return "at least " + end(r.limit->low);
  return end(r.limit->low) + " to " + end(r.limit->high);
}

struct CoilTable {
  std::vector<std::string> coils, columns;  // columns by their aspects
  std::map<std::string, std::string> headings;
  std::map<std::pair<std::string, std::string>, const Result*> cells;
};

void add_once(std::vector<std::string>& list, const std::string& text) {
  if (std::find(list.begin(), list.end(), text) == list.end()) list.push_back(text);
}

CoilTable table_of(const inspection::Judgement& j) {
  CoilTable out;
  for (const Result& r : j.results) {
    if (!of_a_coil(r)) continue;
    add_once(out.coils, r.subject);
    add_once(out.columns, r.aspect);
    out.headings.emplace(r.aspect, what_of(r));
    out.cells.emplace(std::pair{r.subject, r.aspect}, &r);
  }
  return out;
}

// The limits that most coils share stand in the head of the column.
std::string common_limits(const CoilTable& t, const std::string& column) {
  std::map<std::string, std::size_t> count;
  for (const auto& [at, r] : t.cells)
    if (at.second == column && has_number(*r)) ++count[limits(*r)];
  if (count.empty()) return "";
  return std::max_element(count.begin(), count.end(),
                          [](const auto& a, const auto& b) { return a.second < b.second; })
      ->first;
}

std::string first_clause(const std::string& text) {
  const auto end = text.find_first_of(",;");
  return text.substr(0, end);
}

Markup cell(const Result* r, const std::string& common) {
  if (!r) return "<td>–</td>"_html;
  if (!has_number(*r))
    return "<td>" + plain(first_clause(r->text), 30) + " " + state(name_of(r->outcome)) + "</td>";
  Markup text = plain(format_estimate(*r->value, r->unit), 30);
  if (r->outcome != Outcome::pass) text += " " + state(name_of(r->outcome));
  if (const std::string own = limits(*r); own != common)
    text += " <small>(" + plain(own) + ")</small>";
  return "<td>" + text + "</td>";
}

Markup coil_table(const CoilTable& t) {
  const std::size_t wide = std::min(t.columns.size(), kColumns);
  Markup out = open_scroll("Figures of each coil") +
               "<table class=\"key\"><thead><tr><th scope=\"col\">Coil</th>";
  std::vector<std::string> common;
  for (std::size_t k = 0; k < wide; ++k) {
    common.push_back(common_limits(t, t.columns[k]));
    out += "<th scope=\"col\">" + plain(t.headings.at(t.columns[k]), 44) + "<br/><small>" +
           plain(common[k]) + "</small></th>";
  }
  out += "</tr></thead><tbody>";
  for (std::size_t c = 0; c < std::min(t.coils.size(), kCoils); ++c) {
    out += "<tr><th scope=\"row\">" + shown(t.coils[c], 16) + "</th>";
    for (std::size_t k = 0; k < wide; ++k) {
      const auto found = t.cells.find({t.coils[c], t.columns[k]});
      out += cell(found == t.cells.end() ? nullptr : found->second, common[k]);
    }
    out += "</tr>";
  }
  return out + "</tbody></table></div>";
}

// Of each other kind the figure nearest to a limit, or the first there is.
const Result* worst_of(const inspection::Judgement& j, std::string_view check) {
  const Result* out = nullptr;
  double least = 0;
  for (const Result& r : j.results) {
    if (r.check != check || r.text.empty()) continue;
    double room = r.outcome == Outcome::pass ? 1e3 : -1e3;
    if (r.outcome == Outcome::pass && r.value && r.limit && r.value->usable()) {
      const double low = r.value->value - r.limit->low, high = r.limit->high - r.value->value;
      const double scale = std::isfinite(r.limit->high) ? r.limit->high : r.limit->low;
      room = std::min(low, high) / std::max(std::abs(scale), 1e-30);
    }
    if (!out || room < least) out = &r, least = room;
  }
  return out;
}

Markup others(const inspection::Judgement& j) {
  constexpr std::array kAlso{"temperature", "wire",       "matched-set",
                             "insulation",  "thermistor", "coil-hot-margin"};
  Markup out;
  for (const char* check : kAlso)
    if (const Result* r = worst_of(j, check)) {
      out += "<li>" + plain(r->title, 48) + ": " + plain(first_clause(r->text), 56);
      if (r->outcome != Outcome::pass) out += " " + state(name_of(r->outcome));
      out += "</li>";
    }
  return out.empty() ? out : "<ul class=\"two also\">" + out + "</ul>";
}

}  // namespace

Markup key_figures(const Input& input) {
  const CoilTable t = table_of(*input.judgement);
  Markup out("<section><h2>Key figures</h2>");
  if (!t.coils.empty()) out += coil_table(t);
  std::string more = "U at k = 2. Beneath each heading: the limits.";
  if (t.coils.size() > kCoils)
    more += " " + std::to_string(t.coils.size() - kCoils) + " more coils below.";
  if (t.columns.size() > kColumns)
    more += " " + std::to_string(t.columns.size() - kColumns) + " more figures of each below.";
  if (!t.coils.empty()) out += "<p class=\"rule\">" + plain(more) + "</p>";
  return out + others(*input.judgement) + "</section>\n";
}

}  // namespace pinproof::report
