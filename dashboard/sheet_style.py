"""Style of the settings sheet. In a module, because the sheet must carry everything in itself."""

from __future__ import annotations

from dashboard.figures.theme import FONT, LIGHT, css_variables

STYLE = (
    f":root{{{css_variables(LIGHT)}}}\nbody{{font-family:{FONT}}}\n"
    + """
*{box-sizing:border-box}
html{background:var(--page)}
body{margin:0 auto;max-width:1080px;padding:28px 28px 56px;background:var(--surface);color:var(--ink);font-size:13px;line-height:1.4;
font-variant-numeric:tabular-nums}
h1{font-size:25px;line-height:1.15;margin:0 0 4px;letter-spacing:-.01em}
h2{font-size:15px;margin:22px 0 4px}
p{margin:0 0 5px;max-width:110ch}
.soft{color:var(--soft)}
.stale{border-left:4px solid var(--blocking);padding:3px 10px;margin:8px 0}
.cautions{border:1.5px solid var(--ink);padding:7px 12px;margin:12px 0;break-inside:avoid;columns:2;column-gap:28px}
.cautions p{break-inside:avoid;margin:0 0 4px}
table{border-collapse:collapse;width:100%;margin:8px 0 14px}
th{font-weight:600;text-align:left;color:var(--soft);font-size:11.5px;border-bottom:1.5px solid var(--ink);
padding:3px 10px 3px 0;vertical-align:bottom}
td{border-bottom:1px solid var(--line);padding:6px 10px 6px 0;vertical-align:top;overflow-wrap:anywhere}
tr{break-inside:avoid}
thead{display:table-header-group}
td b{font-size:15px;white-space:nowrap}
.was{color:var(--soft);white-space:nowrap}
.box{display:inline-block;width:17px;height:17px;border:1.5px solid var(--ink);border-radius:2px;margin-top:1px;
text-align:center;line-height:14px;font-weight:700}
.room{font-weight:650}
.code{white-space:nowrap}
.exception td{border-bottom-color:var(--line);padding-top:0}
.flag{display:inline-block;border:1.5px solid var(--blocking);color:var(--blocking);border-radius:3px;padding:0 6px;font-size:11.5px;font-weight:700}
.flag.start{border-color:var(--ink);color:var(--ink)}
.sign{min-width:130px}
.blank{border-bottom:1px solid var(--ink);display:inline-block;width:100%;height:19px}
.signs{display:grid;grid-template-columns:repeat(3,1fr);gap:22px 28px;margin-top:22px;break-inside:avoid}
.signs div{border-top:1px solid var(--ink);padding-top:3px;color:var(--soft);font-size:11.5px;margin-top:26px}
@media screen and (max-width:760px){body{padding:16px}.cautions{columns:1}.scroll{overflow-x:auto}.scroll table{min-width:760px}}
@page{size:A4 landscape;margin:12mm 12mm 14mm;@bottom-right{content:counter(page) " / " counter(pages);font:8.5pt sans-serif}}
@media print{html,body{background:#fff}body{max-width:none;padding:0;font-size:9.5pt}*{-webkit-print-color-adjust:exact;print-color-adjust:exact}}
"""
)
