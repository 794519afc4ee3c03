// The sheet's style: one page column, a narrow column of labels, hairlines. Greys only; every text colour stands at
// least 4.5 : 1 on white (WCAG 2.2, 1.4.3), and nothing is told by colour.
#pragma once

#include <string_view>

namespace fettle::handover {

inline constexpr std::string_view kStyle = R"css(
@page { size: A4; margin: 17mm 18mm 18mm 18mm; }
* { box-sizing: border-box; }
html { background: #ffffff; color: #161616; }
body { margin: 0 auto; max-width: 174mm; padding: 8mm 0; font: 10.5pt/1.45 "DejaVu Sans", "Liberation Sans", Arial, sans-serif; }
header { border-bottom: 2.5pt solid #161616; padding-bottom: 4mm; margin-bottom: 2mm; }
header .shop { display: flex; justify-content: space-between; font-size: 9pt; color: #4a4a4a; margin: 0 0 7mm 0; }
h1 { font: 19pt/1.25 "DejaVu Serif", Georgia, "Liberation Serif", serif; font-weight: normal; margin: 0; }
section { display: grid; grid-template-columns: 30mm 1fr; column-gap: 6mm; border-top: 0.5pt solid #8c8c8c; padding: 3.2mm 0; break-inside: avoid; }
section:first-of-type { border-top: 0; }
section > * { grid-column: 2; }
h2 { grid-column: 1; grid-row: 1; font-size: 9pt; font-weight: bold; margin: 0; padding-top: 0.8pt; }
p { margin: 0 0 1.5mm 0; }
p:last-child { margin-bottom: 0; }
table { border-collapse: collapse; width: 100%; margin: 0 0 2mm 0; font-variant-numeric: tabular-nums; }
th { text-align: left; font-size: 8.5pt; font-weight: normal; color: #4a4a4a; padding: 0 4mm 0.6mm 0; border-bottom: 0.5pt solid #8c8c8c; vertical-align: bottom; }
td { padding: 0.7mm 4mm 0.7mm 0; vertical-align: top; }
td.n, th.n { text-align: right; }
ul { margin: 0; padding: 0; list-style: none; }
li { padding-left: 5mm; text-indent: -5mm; margin-bottom: 1.4mm; }
li::before { content: "\2013"; display: inline-block; width: 5mm; text-indent: 0; }
ul.open li::before { content: "\25A1"; }
.minor { color: #4a4a4a; font-size: 9pt; }
.hex { font: 7.5pt/1.4 "DejaVu Sans Mono", "Liberation Mono", monospace; color: #4a4a4a; overflow-wrap: anywhere; }
section.strip { grid-template-columns: 1fr; break-inside: avoid; }
section.strip > *, section.strip > h2 { grid-column: 1; grid-row: auto; }
svg { width: 100%; height: auto; display: block; margin-top: 1mm; }
b { font-weight: bold; }
@media screen and (max-width: 560px) { body { padding: 5mm; } section { grid-template-columns: 1fr; } section > *, h2 { grid-column: 1; grid-row: auto; } }
)css";

}  // namespace fettle::handover
