// One row a reading, safe for spreadsheets.
#include <cmath>

#include "quantity/text.h"
#include "report/formats.h"
#include "report/records.h"

namespace pinproof::report {
namespace {

// A cell that a spreadsheet would take for a formula gets an apostrophe in front.
std::string cell(const std::string& text) {
  std::string safe = text;
  if (!safe.empty() && std::string_view("=+-@\t\r").find(safe.front()) != std::string_view::npos)
    safe.insert(safe.begin(), '\'');
  std::string out = "\"";
  for (const char c : safe) {
    if (c == '"') out += '"';
    out += c == '\n' || c == '\r' ? ' ' : c;
  }
  return out + "\"";
}

std::string join(const std::vector<std::string>& words) {
  std::string out;
  for (const auto& w : words) out += (out.empty() ? "" : " ") + w;
  return out;
}

std::string number(double value) { return std::isfinite(value) ? exact(value) : ""; }

}  // namespace

std::string csv_head(bool with_record) {
  return std::string(with_record ? "record,serial,lot,began_utc,verdict," : "") +
         "check,subject,role,from,to,condition,value,standard_uncertainty,unit,open,range_end,"
         "function,instrument,lead_null,repeats,spread,at_s\r\n";
}

std::string csv_rows(const record::Record& record, const std::string& verdict, bool with_record) {
  const record::Header& h = record.header;
  std::string first, out;
  if (with_record)
    for (const std::string& text : {h.id, h.serial, h.lot, h.started_at, verdict})
      first += cell(text) + ",";
  for (const record::Event& event : record.events) {
    const auto* r = std::get_if<record::Reading>(&event);
    if (!r) continue;
    out += first;
    for (const std::string& text : {r->key.check, r->key.subject, r->key.role, join(r->from),
                                    join(r->to), text_of(r->condition)})
      out += cell(text) + ",";
    out += number(r->value) + "," + number(r->u) + "," + std::string(file_name(r->unit)) + "," +
           (r->overload ? "yes" : "no") + "," + number(r->range_end) + ",";
    out += cell(r->function) + "," + cell(r->instrument) + "," + number(r->lead_null) + "," +
           std::to_string(r->repeats) + "," + number(r->spread) + "," + number(r->at_s) + "\r\n";
  }
  return out;
}

std::string to_csv(const Input& input) {
  return csv_head(false) + csv_rows(*input.record, "", false);
}

}  // namespace pinproof::report
