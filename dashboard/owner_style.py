"""Style of the owner's report. In a module, because the report must carry everything in itself."""

from __future__ import annotations

from dashboard.figures.theme import FONT, LIGHT, css_variables

STYLE = (
    f":root{{{css_variables(LIGHT)};color-scheme:light}}\nbody{{font-family:{FONT}}}\n"
    + """
*{box-sizing:border-box}
html{background:var(--page)}
body{margin:0 auto;max-width:820px;padding:36px 40px 48px;background:var(--surface);color:var(--ink);font-size:12.5px;line-height:1.4;
font-variant-numeric:tabular-nums}
h1{font-size:28px;line-height:1.1;margin:0;letter-spacing:-.015em}
h2{font-size:14px;margin:16px 0 2px;break-after:avoid}
p{margin:0 0 3px}
.lead{font-size:15px;margin:3px 0 2px}
.soft{color:var(--soft)}
header{border-bottom:3px solid var(--accent);padding-bottom:8px}
.cards{display:grid;grid-template-columns:1.25fr 1fr 1fr 1fr;gap:0;margin:10px 0 0;border-bottom:1px solid var(--line);padding-bottom:8px}
.cards div{padding:0 14px;border-left:1px solid var(--line)}
.cards div:first-child{padding-left:0;border-left:0}
.cards dt{color:var(--soft);font-size:11.5px}
.cards dd{margin:0}
.cards .big{font-size:18px;letter-spacing:-.01em;white-space:nowrap}
.cards .big b{color:var(--accent);font-weight:700}
table{border-collapse:collapse;width:100%}
th{font-weight:600;text-align:left}
thead th{color:var(--soft);font-size:11px;border-bottom:1.5px solid var(--ink);padding:2px 8px 3px 0;vertical-align:bottom}
thead th span{font-weight:400;display:block}
thead .group{border-bottom:1px solid var(--line);text-align:right}
thead .group span{display:inline}
tbody th,tbody td{border-bottom:1px solid var(--line);padding:3px 8px 3px 0;vertical-align:top}
tbody th span{color:var(--soft);font-weight:400}
tbody b{color:var(--accent)}
tr{break-inside:avoid}
.balance td,.balance thead th:not(:first-child){text-align:right;white-space:nowrap}
.balance th{font-weight:500}
.rooms th[scope=row] span{display:block;font-size:11px;line-height:1.2}
.rooms tbody th,.rooms tbody td{line-height:1.25}
.n{text-align:right!important;white-space:nowrap}
.kwh{width:26%}
.bars{height:7px;margin-top:1px}
.bars i{display:block;height:3px;background:var(--soft);opacity:.55}
.bars i.then{background:var(--accent);opacity:1;margin-top:1px}
.missing ul{margin:2px 0 0;padding-left:16px}
.missing li{margin:1px 0;overflow-wrap:anywhere}
.method{font-size:10.5px;line-height:1.32}
.columns{columns:2;column-gap:24px}
.columns p{break-inside:avoid;margin-bottom:4px}
@media screen and (max-width:700px){body{padding:20px 16px}
.cards{grid-template-columns:1fr;gap:8px 0}.balance td{white-space:normal}.cards div{border-left:0;padding-left:0}
.columns{columns:1}.scroll{overflow-x:auto}.scroll table{min-width:640px}}
@page{size:A4;margin:11mm 13mm 11mm}
@media print{html,body{background:#fff}body{max-width:none;padding:0;font-size:8.6pt}
h1{font-size:19pt}.lead{font-size:11pt}h2{font-size:10pt;margin-top:9px}
.cards .big{font-size:13pt}.method{font-size:7.2pt}
thead th,.rooms th[scope=row] span{font-size:7.6pt}.rooms th[scope=row] span{display:inline}
tbody th,tbody td{padding-top:2px;padding-bottom:2px}
*{-webkit-print-color-adjust:exact;print-color-adjust:exact}}
"""
)
