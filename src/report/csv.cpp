// One row a reading, safe for spreadsheets.
#include <cmath>

#include "quantity/characters.h"
#include "quantity/phrase.h"
#include "quantity/text.h"
#include "report/formats.h"
#include "report/records.h"

namespace pinproof::report {
namespace {

// What begins a formula, in full width too: some spreadsheets take these for the narrow ones.
bool begins_formula(char32_t c) {
  return c == '=' || c == '+' || c == '-' || c == '@' || c == 0xFF1D || c == 0xFF0B ||
         c == 0xFF0D || c == 0xFF20;
}

// Spreadsheets drop these before they look.
bool is_dropped(char32_t c) {
  return c == ' ' || c == 0xA0 || c == 0x3000 || c == 0xFEFF || is_control(c) || columns_of(c) == 0;
}

// A cell that a spreadsheet would take for a formula gets an apostrophe in front (OWASP, CSV
// injection). Controls and marks of direction become blanks: a row is a line, and reads from the
// left.
std::string cell(const std::string& text) {
  std::string out;
  bool leading = true, formula = false;
  for (std::string_view rest = text; !rest.empty();) {
    const Character one = first_character(rest);
    rest.remove_prefix(one.bytes);
    if (out.empty()) formula = one.code == '\t' || one.code == '\r' || one.code == '\n';
    if (leading) formula = formula || begins_formula(one.code);
    leading = leading && is_dropped(one.code);
    if (one.code == '"') out += '"';
    append(out, is_control(one.code) ? U' ' : one.code);
  }
  return (formula ? "\"'" : "\"") + out + "\"";
}

std::string number(double value) { return std::isfinite(value) ? exact(value) : ""; }

}  // namespace

std::string csv_head(bool with_record) {
  return std::string(with_record ? "record,serial,lot,began_utc,verdict,level," : "") +
         "check,subject,role,from,to,condition,value,standard_uncertainty,unit,open,range_end,"
         "function,instrument,lead_null,repeats,spread,at_s\r\n";
}

std::string csv_rows(const record::Record& record, const record::Attempt* attempt) {
  const record::Header& h = record.header;
  std::string first, out;
  if (attempt)
    for (const std::string& text :
         {h.id, h.serial, h.lot, h.started_at, attempt->verdict, attempt->level})
      first += cell(text) + ",";
  for (const record::Event& event : record.events) {
    const auto* r = std::get_if<record::Reading>(&event);
    if (!r) continue;
    out += first;
    for (const std::string& text : {r->key.check, r->key.subject, r->key.role, joined(r->from, " "),
                                    joined(r->to, " "), text_of(r->condition)})
      out += cell(text) + ",";
    const record::Numbers& n = r->measured.numbers();
    out += number(n.value) + "," + number(n.u) + "," + std::string(file_name(r->measured.unit())) +
           "," + (r->overload ? "yes" : "no") + "," + number(n.range_end) + ",";
    out += cell(r->function) + "," + cell(r->instrument) + "," + number(n.lead_null) + "," +
           std::to_string(r->repeats) + "," + number(n.spread) + "," + number(r->at_s) + "\r\n";
  }
  return out;
}

std::string to_csv(const Input& input) {
  return csv_head(false) + csv_rows(*input.record, nullptr);
}

}  // namespace pinproof::report
