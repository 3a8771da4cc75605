#include "report/page.h"

namespace pinproof::report {
namespace {

constexpr std::string_view kStyle = R"css(
:root{--ink:#1b1f24;--soft:#4d5661;--paper:#fff;--panel:#f3f4f1;--rule:#c9cdc6;--good:#1c5c36;--bad:#9b1c1c;--wait:#7a4b00;--blue:#1c4e80;--okfill:#d6e6da}
@media (prefers-color-scheme:dark){:root{--ink:#e9ebe8;--soft:#aeb6bd;--paper:#15181b;--panel:#1f2428;--rule:#444b52;--good:#7fce9b;--bad:#ff9a94;--wait:#f0b95c;--blue:#8fc1f2;--okfill:#23402f}}
*{box-sizing:border-box}
body{margin:0 auto;padding:1.2rem;max-width:60rem;background:var(--paper);color:var(--ink);font:16px/1.5 system-ui,"DejaVu Sans",sans-serif}
h1{font-size:1.05rem;font-weight:600;margin:0;color:var(--soft)}
h2{font-size:1.2rem;margin:2rem 0 .5rem;border-bottom:2px solid var(--rule);padding-bottom:.2rem}
h3{font-size:1rem;margin:1.2rem 0 .3rem}
.verdict{display:flex;flex-wrap:wrap;gap:.3rem 1.2rem;align-items:baseline;border:3px solid;border-radius:.5rem;padding:.5rem 1rem;margin:.8rem 0}
.verdict b{font-size:2rem;letter-spacing:.04em}.verdict p{margin:0}
.accept{border-color:var(--good);border-style:solid}.accept b{color:var(--good)}
.reject{border-color:var(--bad);border-style:double;border-width:6px}.reject b{color:var(--bad)}
.hold{border-color:var(--wait);border-style:dashed}.hold b{color:var(--wait)}
dl.head{display:grid;grid-template-columns:repeat(auto-fit,minmax(14rem,1fr));gap:.2rem 1.5rem;margin:.5rem 0}
dl.head div{display:flex;gap:.5rem}dt{color:var(--soft)}dd{margin:0;overflow-wrap:anywhere}
.cols{display:grid;grid-template-columns:minmax(0,3fr) minmax(0,2fr);gap:1.5rem;align-items:start}
.find{border-left:5px solid var(--bad);padding:.1rem 0 .1rem .8rem;margin:.8rem 0;break-inside:avoid}
.find p{margin:.15rem 0}.find .s{color:var(--soft);font-size:.9rem}
table{border-collapse:collapse;width:100%;font-size:.88rem;margin:.3rem 0 1rem}
caption{text-align:left;color:var(--soft);font-size:.85rem;padding-bottom:.2rem}
th,td{text-align:left;vertical-align:top;padding:.25rem .5rem;border-bottom:1px solid var(--rule);overflow-wrap:anywhere}
th{font-weight:600}tr{break-inside:avoid}td.bar{width:15rem}
.pass{color:var(--good);white-space:nowrap}.fail{color:var(--bad);font-weight:700;white-space:nowrap}.other{color:var(--wait);font-weight:700;white-space:nowrap}
th[scope=col]{overflow-wrap:normal}.scroll{overflow-x:auto}.lev td,.lev th{text-align:center}.lev .miss{outline:2px solid var(--bad);outline-offset:-3px;font-weight:700;color:var(--bad)}
.caution{background:var(--panel);border:2px solid var(--wait);border-radius:.4rem;padding:.3rem 1rem;margin:1rem 0;break-inside:avoid}
ul{padding-left:1.2rem;margin:.4rem 0}li{margin:.2rem 0}
figure{margin:1rem 0;break-inside:avoid}figcaption{color:var(--soft);font-size:.88rem}
svg{width:100%;height:auto;max-width:45rem;display:block}td svg{max-width:14rem}
svg text{font:12px system-ui,"DejaVu Sans",sans-serif;fill:var(--soft)}svg .n{font-size:14px;font-weight:600;fill:var(--ink)}
.ok{fill:var(--okfill)}.guard{fill:var(--wait);opacity:.35}.lim{stroke:var(--ink);stroke-width:1.5}.u{stroke:var(--ink);stroke-width:1.5}.dot{fill:var(--ink)}
.g{stroke:var(--rule);stroke-width:.7}.i{fill:none;stroke:var(--blue);stroke-width:1.6}.v{fill:none;stroke:var(--wait);stroke-width:1.4}
.i2{fill:none;stroke:var(--good);stroke-width:1.6}.o{fill:none;stroke:var(--rule);stroke-width:1.2}.m{fill:none;stroke:var(--bad);stroke-width:1.4;stroke-dasharray:5 4}.mark{stroke:var(--soft);stroke-dasharray:2 3}.ring{fill:none;stroke:var(--ink);stroke-width:1.6}
.shell{fill:var(--panel);stroke:var(--rule);stroke-width:2}.pin{fill:var(--paper);stroke:var(--soft);stroke-width:1.4}.bad{fill:var(--paper);stroke:var(--bad);stroke-width:3}.badx{stroke:var(--bad);stroke-width:3}
@media (max-width:40rem){.cols{grid-template-columns:1fr}td.bar{width:7rem}body{padding:.6rem}}
@page{margin:14mm 13mm 16mm}
@media print{:root{--ink:#000;--soft:#333;--paper:#fff;--panel:#f3f3f3;--rule:#999;--good:#0d4a26;--bad:#8a1010;--wait:#6b4200;--blue:#133e6b;--okfill:#d6e6da}body{max-width:none;padding:0;font-size:10.5pt}h2,h3,caption,thead{break-after:avoid}.details{break-before:page}.scroll{overflow:visible}}
)css";

}  // namespace

std::string_view style() { return kStyle; }

}  // namespace pinproof::report
