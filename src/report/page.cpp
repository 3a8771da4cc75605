#include "report/page.h"

#include <array>
#include <cstdio>
#include <utility>

#include "quantity/characters.h"
#include "quantity/lines.h"
#include "report/drawing.h"

namespace pinproof::report {
namespace {

constexpr char kScreen[] = R"css(
:root{--ink:#1b1f24;--soft:#4d5661;--paper:#fff;--panel:#f3f4f1;--rule:#c9cdc6;--edge:#767c75;--good:#1c5c36;--bad:#9b1c1c;--wait:#7a4b00;--blue:#1c4e80;--okfill:#d6e6da}
@media (prefers-color-scheme:dark){:root{--ink:#e9ebe8;--soft:#aeb6bd;--paper:#15181b;--panel:#1f2428;--rule:#444b52;--edge:#8b949c;--good:#7fce9b;--bad:#ff9a94;--wait:#f0b95c;--blue:#8fc1f2;--okfill:#23402f}}
*{box-sizing:border-box}section,figure{min-width:0}
body{margin:0 auto;padding:1.2rem;max-width:64rem;background:var(--paper);color:var(--ink);font:16px/1.5 system-ui,"DejaVu Sans",sans-serif}
h1{font-size:1.25rem;font-weight:650;margin:0;overflow-wrap:anywhere}
h2{font-size:1.2rem;margin:2rem 0 .5rem;border-bottom:2px solid var(--rule);padding-bottom:.2rem}
h3{font-size:1rem;margin:1.2rem 0 .3rem;overflow-wrap:anywhere}
a{color:var(--blue)}a:focus-visible,input:focus-visible,select:focus-visible,button:focus-visible,[tabindex]:focus-visible,summary:focus-visible{outline:3px solid var(--blue);outline-offset:2px}
.verdict{display:flex;flex-wrap:wrap;gap:.2rem 1.2rem;align-items:baseline;border:3px solid;border-radius:.5rem;padding:.5rem 1rem;margin:.8rem 0}
.verdict b{font-size:2rem;letter-spacing:.04em}.verdict p{margin:0;min-width:0;overflow-wrap:anywhere}.verdict .says{flex-basis:100%}
.accept{border-color:var(--good);border-style:solid}.accept b{color:var(--good)}
.reject{border-color:var(--bad);border-style:double;border-width:6px}.reject b{color:var(--bad)}
.hold{border-color:var(--wait);border-style:dashed}.hold b{color:var(--wait)}
dl.head{display:grid;grid-template-columns:repeat(auto-fit,minmax(15rem,1fr));gap:.2rem 1.5rem;margin:.5rem 0}
dl.head div{display:flex;gap:.5rem;min-width:0}dt{color:var(--soft)}dd{margin:0;overflow-wrap:anywhere;min-width:0}
.cols{display:grid;grid-template-columns:minmax(0,3fr) minmax(0,2fr);gap:1.5rem;align-items:start}.cols figure{margin-top:.3rem}
.find{border-left:5px solid var(--bad);padding:.1rem 0 .1rem .8rem;margin:.8rem 0;break-inside:avoid;overflow-wrap:anywhere}
.find p{margin:.15rem 0}.find .s{color:var(--soft);font-size:.9em;font-weight:400}
table{border-collapse:collapse;width:100%;font-size:.88rem;margin:.3rem 0 1rem}
caption{text-align:left;color:var(--soft);font-size:.85rem;padding-bottom:.2rem}
th,td{text-align:left;vertical-align:top;padding:.25rem .5rem;border-bottom:1px solid var(--rule);overflow-wrap:anywhere}
th{font-weight:600}tr{break-inside:avoid}td.bar{width:15rem}td small{color:var(--soft)}
.pass{color:var(--good)}.fail{color:var(--bad)}.other{color:var(--wait)}
.st{display:inline-block;border:1.5px solid;border-radius:.3em;padding:0 .4em;font-weight:650;white-space:nowrap;line-height:1.35}
.st.fail{border:3px double}.st.other{border-style:dashed}.st.skipped{border-style:dotted}.st.bench-fault{border-style:solid;border-left-width:.6em}
th[scope=col]{overflow-wrap:normal}.checks table{table-layout:fixed}.checks th:nth-child(1){width:32%}.checks th:nth-child(2){width:9em}.checks th:nth-child(4){width:24%}.readings{table-layout:fixed;min-width:34rem}.readings th:nth-child(1){width:25%}.readings th:nth-child(2){width:11%}.readings th:nth-child(4){width:17%}.readings th:nth-child(5){width:22%}.readings th:nth-child(6){width:10%}.scroll{overflow-x:auto}.lev td,.lev th{text-align:center}.lev .miss{outline:2px solid var(--bad);outline-offset:-3px;font-weight:700;color:var(--bad)}
.caution{background:var(--panel);border:2px solid var(--wait);border-radius:.4rem;padding:.3rem 1rem;margin:1rem 0}.caution h2{border:0;margin:.3rem 0 0}
p{overflow-wrap:anywhere}pre{font-size:.85rem;overflow-x:auto}ul{padding-left:1.2rem;margin:.4rem 0}li{margin:.2rem 0;overflow-wrap:anywhere;break-inside:avoid}
.two{columns:22rem 2;column-gap:2rem}.three{columns:14rem 3;column-gap:1.5rem}.plainlist{list-style:none;padding:0}
figure{margin:1rem 0;break-inside:avoid}figcaption{color:var(--soft);font-size:.88rem}
nav ul{display:flex;flex-wrap:wrap;gap:.3rem 1.5rem;list-style:none;padding:0;margin:0 0 1rem;border-bottom:1px solid var(--rule)}nav a{display:inline-block;padding:.3rem 0;min-height:1.75rem}nav a[aria-current]{font-weight:700;text-decoration:none}
form.search{display:flex;flex-wrap:wrap;gap:.6rem 1rem;align-items:end;margin:.8rem 0}label{display:inline-flex;flex-direction:column;font-size:.88rem}
input,select,button{font:inherit;color:inherit;background:var(--paper);border:1.5px solid var(--edge);border-radius:.3rem;padding:.25rem .6rem;min-height:2.1rem;max-width:100%}button{background:var(--panel);font-weight:600;cursor:pointer}input[type=radio]{min-height:1.5rem;min-width:1.5rem;margin:0}
tr.changed>*{background:var(--panel)}tr.changed>th{border-left:5px solid var(--wait)}
)css";

constexpr char kDrawing[] = R"css(
svg{width:100%;height:auto;max-width:45rem;display:block}td svg{max-width:14rem}
svg text{font:12px system-ui,"DejaVu Sans",sans-serif;fill:var(--soft)}svg .n{font-size:14px;font-weight:600;fill:var(--ink)}svg .sig{font-size:9px;fill:var(--soft)}
.ok{fill:var(--okfill)}.guard{fill:var(--wait);opacity:.35}.lim{stroke:var(--ink);stroke-width:1.5}.u{stroke:var(--ink);stroke-width:1.5}.dot{fill:var(--ink)}
.g{stroke:var(--rule);stroke-width:.7}.i{fill:none;stroke:var(--blue);stroke-width:1.6}.v{fill:none;stroke:var(--wait);stroke-width:1.4}
.i2{fill:none;stroke:var(--good);stroke-width:1.6}.o{fill:none;stroke:var(--rule);stroke-width:1.2}.m{fill:none;stroke:var(--bad);stroke-width:1.4;stroke-dasharray:5 4}.mark{stroke:var(--soft);stroke-dasharray:2 3}.ring{fill:none;stroke:var(--ink);stroke-width:1.6}
.shell{fill:var(--panel);stroke:var(--rule);stroke-width:2}.shellbad{fill:var(--panel);stroke:var(--bad);stroke-width:4;stroke-dasharray:12 5}.pin{fill:var(--paper);stroke:var(--soft);stroke-width:1.4}.bad{fill:var(--paper);stroke:var(--bad);stroke-width:3}.badx{stroke:var(--bad);stroke-width:3}
@media (max-width:40rem){.cols{grid-template-columns:minmax(0,1fr)}td.bar{width:7rem}body{padding:.6rem}}
)css";

constexpr char kPaper[] = R"css(
@page{margin:13mm 12mm 14mm}
@media print{:root{--ink:#000;--soft:#333;--paper:#fff;--panel:#f3f3f3;--rule:#999;--edge:#555;--good:#0d4a26;--bad:#8a1010;--wait:#6b4200;--blue:#133e6b;--okfill:#d6e6da;color-scheme:light;font-size:8.5pt}
*{print-color-adjust:exact;-webkit-print-color-adjust:exact}body{max-width:none;padding:0;font-size:1rem;line-height:1.35}h2{margin-top:1.2rem}h2,h3,caption{break-after:avoid}thead{display:table-header-group}th,td{padding:.15rem .4rem}.details{break-before:page}.scroll{overflow:visible}nav,form,details{display:none}a{color:inherit;text-decoration:none}pre{white-space:pre-wrap;overflow-wrap:anywhere}p{orphans:3;widows:3}td.bar{width:11rem}td.bar svg{max-height:5mm}figure svg{max-height:95mm}}
)css";

using TextPair = std::pair<std::string_view, std::string_view>;

constexpr char kSmall[] = ";font:8pt \"DejaVu Sans\",sans-serif;color:#333}";

constexpr std::size_t kMarks = 3;  // on one letter; more would grow over the lines above

std::string visible(std::string_view text) {
  std::string out;
  std::size_t marks = 0;
  while (!text.empty()) {
    const Character one = first_character(text);
    text.remove_prefix(one.bytes);
    marks = columns_of(one.code) == 0 ? marks + 1 : 0;
    if (turns_writing(one.code)) {
      char number[16];
      std::snprintf(number, sizeof number, "[U+%04X]", static_cast<unsigned>(one.code));
      out += number;
    } else if (is_control(one.code)) {
      out += ' ';
    } else if (marks <= kMarks) {
      append(out, one.code);
    }
  }
  return out;
}

std::string cut(std::string_view text, std::size_t count) {
  const std::string whole = visible(text);
  return columns(whole) <= count ? whole : std::string(head(whole, count - 1)) + "…";
}

}  // namespace

Markup plain(std::string_view text) { return escape(visible(text)); }
Markup plain(std::string_view text, std::size_t columns) { return escape(cut(text, columns)); }
Markup shown(std::string_view name) { return "<bdi>" + plain(name) + "</bdi>"; }
Markup shown(std::string_view name, std::size_t columns) {
  return "<bdi>" + plain(name, columns) + "</bdi>";
}

std::string_view shape_of(std::string_view word) {
  constexpr std::array<TextPair, 6> kShapes{TextPair{"pass", "✔"},        TextPair{"accept", "✔"},
                                            TextPair{"fail", "✖"},        TextPair{"reject", "✖"},
                                            TextPair{"bench-fault", "■"}, TextPair{"skipped", "–"}};
  for (const auto& [known, shape] : kShapes)
    if (known == word) return shape;
  return "▲";
}

Markup state(std::string_view word) {
  if (word.empty()) return "–"_html;
  const std::string_view shape = shape_of(word);
  std::string kind = shape == "✔" ? "pass" : shape == "✖" ? "fail" : "other";
  if (word == "skipped" || word == "bench-fault") kind += " " + std::string(word);
  return "<span" + attribute("class", "st " + kind) + ">" + escape(shape) + " " + plain(word) +
         "</span>";
}

Css running_heads(std::string_view left, std::string_view right) {
  constexpr std::size_t kColumns = 60;
  return "@page{@top-left{content:" + css_string(cut(left, kColumns)) + kSmall +
         "@top-right{content:" + css_string(cut(right, kColumns)) + kSmall +
         "@bottom-right{content:\"page \" counter(page) \" of \" counter(pages)" + kSmall + "}";
}

std::string document(std::string_view title, const Css& css, const Markup& body) {
  const Css style = Css(kScreen) + kDrawing + kPaper + css;
  const Markup head =
      "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><meta "
      "http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src "
      "'unsafe-inline'; form-action 'self'; base-uri 'none'\"><meta name=\"viewport\" "
      "content=\"width=device-width, initial-scale=1\"><meta name=\"color-scheme\" "
      "content=\"light dark\"><title>" +
      plain(title, 120) + "</title>";
  return head.text() + "<style>" + style.text() + "</style></head><body>\n" + body.text() +
         "</body></html>\n";
}

Markup navigation(std::string_view here) {
  const auto link = [&](const Url& to, Literal name) {
    return "<li><a" + href(to) + (to.text() == here ? " aria-current=\"page\""_html : ""_html) +
           ">" + name + "</a></li>";
  };
  return "<nav aria-label=\"Pages\"><ul>" + link("/"_html, "Bench") +
         link("/lots"_html, "Lots and records") + "</ul></nav>\n";
}

Markup open_scroll(std::string_view name) {
  return "<div class=\"scroll\" role=\"group\" tabindex=\"0\" aria-label=\"" + plain(name) + "\">";
}

}  // namespace pinproof::report
