#include "report/html_summary.h"

#include <algorithm>
#include <cmath>

#include "inspection/checks/check.h"
#include "quantity/text.h"
#include "report/key_figures.h"
#include "report/page.h"
#include "report/svg.h"

namespace pinproof::report {
namespace {

using inspection::Level;
using inspection::Outcome;
using inspection::Result;
using inspection::Verdict;

constexpr std::size_t kInFull = 2, kInBrief = 3;  // findings on the page
constexpr std::size_t kLine = 150;                // columns of a sentence on the page

std::string upper(std::string_view word) {
  std::string out(word);
  for (char& c : out)
    if (c >= 'a' && c <= 'z') c = static_cast<char>(c - 'a' + 'A');
  return out;
}

// What the verdict means for the hands, in one sentence.
std::string meaning(const inspection::Judgement& j) {
  if (j.verdict == Verdict::reject) return "Do not fit this pack.";
  if (j.verdict == Verdict::hold)
    return "Neither good nor bad is proven. Do not fit this pack before that is settled.";
  if (j.level == Level::static_)
    return "Good as far as it was tested at rest. No coil was driven: whether plungers move is not "
           "known.";
  return "Good as far as it was tested.";
}

Markup banner(const inspection::Judgement& j) {
  const std::string word(name_of(j.verdict));
  return "<div" + attribute("class", "verdict " + word) + "><b><span aria-hidden=\"true\">" +
         escape(shape_of(word)) + "</span> " + plain(upper(word)) + "</b><p>level <strong>" +
         plain(name_of(j.level)) + "</strong></p><p>" + plain(j.why, kLine) +
         "</p><p class=\"says\"><strong>" + plain(meaning(j)) + "</strong></p></div>\n";
}

Markup one_finding(const inspection::Finding& f, bool brief) {
  Markup out = "<li class=\"find\"><p><strong>✖ " + plain(f.text, brief ? 90 : kLine) + "</strong>";
  if (!f.pins.empty())
    out += " <span class=\"s\">(" + Markup(f.pins.size() == 1 ? "pin "_html : "pins "_html) +
           plain(inspection::list_of(f.pins), brief ? 24 : 60) + ")</span>";
  out += "</p>";
  if (!brief && !f.next.empty()) out += "<p>Next: " + plain(f.next, kLine) + "</p>";
  return out + "</li>";
}

Markup findings(const Input& input) {
  const auto& all = input.judgement->findings;
  Markup out("<section><h2>Findings</h2><div class=\"cols\"><div>");
  if (all.empty()) out += "<p>No fault was named.</p>";
  if (!all.empty()) out += "<ol class=\"plainlist\">";
  for (std::size_t k = 0; k < std::min(all.size(), kInFull + kInBrief); ++k)
    out += one_finding(all[k], k >= kInFull);
  if (!all.empty()) out += "</ol>";
  if (all.size() > kInFull + kInBrief)
    out += "<p><strong>And " + digits(all.size() - kInFull - kInBrief) +
           " more: see every finding, below.</strong></p>";
  out += "</div>";
  if (!input.profile->connector.face.empty())
    out += "<figure>" + connector_face(input) + "<figcaption>Looking into the pack's connector." +
           (all.empty() ? Markup()
                        : " Crossed squares: pins of a finding; broken shell: the case."_html) +
           "</figcaption></figure>";
  return out + "</div></section>\n";
}

// Required checks that the verdict waits for.
std::string waits_for(const inspection::Judgement& j) {
  std::vector<std::string> titles;
  std::size_t more = 0;
  for (const Result& r : j.results) {
    if (!r.required || r.outcome == Outcome::pass || r.outcome == Outcome::fail) continue;
    if (titles.size() < 3)
      titles.push_back(r.title.substr(0, 200));
    else
      ++more;
  }
  std::string out = inspection::list_of(titles);
  return more == 0 ? out : out + " and " + std::to_string(more) + " more";
}

std::string next_step(const inspection::Judgement& j) {
  if (j.verdict == Verdict::reject)
    return "Put the pack aside, marked. Repair what is named above or return it with this sheet; "
           "after a repair inspect it anew.";
  if (j.verdict == Verdict::hold) {
    const std::string open = waits_for(j);
    return "Put the pack aside, marked, and inspect it again" +
           (open.empty() ? "." : ". Not settled: " + open + ".");
  }
  return j.level == Level::static_
             ? "It may be fitted where a static inspection is enough; a bench that drives coils "
               "says more. What was not tested stands below."
             : "It may be fitted. What was not tested stands below.";
}

// One word a kind of check.
Markup tested(const Input& input) {
  Markup out("<section class=\"tested\"><h2>What was tested</h2><ul class=\"plainlist three\">");
  for (const auto* kind : inspection::check_kinds()) {
    std::size_t all = 0, passed = 0, failed = 0;
    for (const Result& r : input.judgement->results)
      if (r.check == kind->name)
        ++all, passed += r.outcome == Outcome::pass, failed += r.outcome == Outcome::fail;
    if (all == 0) continue;
    const Outcome word = failed > 0      ? Outcome::fail
                         : passed == all ? Outcome::pass
                                         : Outcome::undecided;
    out += "<li>" + plain(kind->heading) + ": " + digits(passed) + " of " + digits(all) + " <span" +
           attribute("class", word == Outcome::undecided ? "other" : name_of(word)) + ">" +
           escape(shape_of(name_of(word))) + "&nbsp;" +
           (failed > 0      ? "failed"_html
            : passed == all ? "passed"_html
                            : "open"_html) +
           "</span></li>";
  }
  return out + "</ul></section>\n";
}

// The first sentence, or the beginning of it.
Markup gist(const std::string& text) {
  constexpr std::size_t kLong = 110;
  std::size_t end = text.find(". ");
  if (end == std::string::npos) end = text.size();
  if (end > kLong) {
    const std::size_t clause = text.find_last_of(":;", kLong), word = text.rfind(' ', kLong);
    const auto far = [](std::size_t at) { return at != std::string::npos && at > kLong / 2; };
    end = far(clause) ? clause : far(word) ? word : end;
  }
  return plain(text.substr(0, end), kLong) + (end < text.size() ? " …"_html : Markup());
}

Markup list(Literal title, const std::vector<std::string>& lines, Literal kind) {
  if (lines.empty()) return {};
  constexpr std::size_t kMost = 8;
  Markup out = "<section class=\"" + Markup(kind) + "\"><h2>" + title + "</h2><ul class=\"two\">";
  for (std::size_t k = 0; k < std::min(lines.size(), kMost); ++k)
    out += "<li>" + gist(lines[k]) + "</li>";
  if (lines.size() > kMost) out += "<li>And " + digits(lines.size() - kMost) + " more, below.</li>";
  return out + "</ul></section>\n";
}

void row(Markup& out, Literal name, const std::string& value, std::size_t columns) {
  if (value.empty()) return;
  out += "<div><dt>" + Markup(name) + "</dt><dd>" +
         (columns > 0 ? shown(value, columns) : shown(value)) + "</dd></div>";
}

constexpr char kStyle[] = R"css(
.one h2{margin:1.1rem 0 .3rem;font-size:1.05rem}.one .find{margin:.4rem 0}.one .caution{padding:.1rem 1rem .3rem}.one .next{border:2px solid var(--ink);border-radius:.4rem;padding:.3rem 1rem}
.one .rule{color:var(--soft);font-size:.88rem;margin:.3rem 0}.one .key td{white-space:nowrap}.one .key th{white-space:normal}.one .key th:first-child{min-width:4em}.one .key .st{padding:0 .2em}.one .also{font-size:.88rem}
@media print{.one{font-size:8pt;line-height:1.25}.one h1{font-size:10.5pt}.one h2{font-size:8.8pt;margin:1.5mm 0 .5mm;border-bottom-width:1px;padding-bottom:.1mm}.one .verdict{margin:1mm 0;padding:.8mm 3mm;gap:0 5mm}.one .verdict b{font-size:16pt}.one dl.head{grid-template-columns:repeat(3,minmax(0,1fr));gap:0 4mm;margin:1mm 0}.one dl.head div{gap:1.5mm}
.one p,.one li{margin:.2mm 0}.one ul,.one ol{margin:.4mm 0}.one .find{margin:.7mm 0;padding:0 0 0 2mm;border-left-width:1mm}.one .find p{margin:0}.one .cols{grid-template-columns:minmax(0,5fr) minmax(0,2fr);gap:4mm}.one .cols figure{margin:.5mm 0}.one figcaption{font-size:7.2pt}.one .cols svg{max-height:32mm}
.one .key td{white-space:normal}.one table{font-size:7.8pt;margin:.4mm 0}.one th,.one td{padding:.25mm 1.2mm}.one .two{columns:2;column-gap:5mm}.one .three{columns:3;column-gap:4mm}.one .rule,.one .also,.one .tested,.one .nottested ul{font-size:7.6pt}.one .next{margin:1mm 0;padding:.5mm 3mm;border-width:1.5px}.one .caution{margin:1mm 0 0;padding:.2mm 3mm .4mm;font-size:7.4pt;border-width:1.5px}.one .caution h2{margin:0}.one .st{line-height:1.1;border-width:1px}.one .st.fail{border-width:2px}}
)css";

}  // namespace

Css summary_style() { return Css(kStyle); }

Markup identity(const Input& input, std::size_t columns) {
  const auto& h = input.record->header;
  Markup out("<dl class=\"head\">");
  row(out, "Serial", h.serial.empty() ? "none given" : h.serial, columns);
  row(out, "Lot", h.lot, columns);
  row(out, "Pack", input.profile->name, columns);
  row(out, "Bench", h.bench_name, columns);
  row(out, "Started", h.started_at, columns);
  row(out, "Program", h.program, columns);
  row(out, "Record", h.id, columns);
  row(out, "Profile",
      h.profile_hash.substr(0, 12) + (h.profile_hash == input.profile->hash
                                          ? ""
                                          : "; judged by " + input.profile->hash.substr(0, 12)),
      columns);
  row(out, "Note", h.note, columns > 0 ? 2 * columns : 0);
  return out + "</dl>\n";
}

Markup summary_page(const Input& input, const Markup& notice) {
  const auto& j = *input.judgement;
  Markup out = "<div class=\"one\"><header><h1>Solenoid pack inspection</h1>" + banner(j) + notice +
               identity(input, 40) + "</header>\n";
  out += findings(input);
  out += "<p class=\"next\"><strong>What to do next:</strong> " + plain(next_step(j), 3 * kLine) +
         "</p>\n";
  out += key_figures(input) + tested(input);
  out += list("Not tested", j.not_tested, "nottested");
  out += "<p class=\"rule\"><strong>Decision rule:</strong> " + plain(j.rule, 3 * kLine) + "</p>\n";
  return out + list("Cautions", j.cautions, "caution") + "</div>\n";
}

}  // namespace pinproof::report
