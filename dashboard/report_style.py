"""Style and script of the printed report. In a module, because the report must carry everything in itself."""

from __future__ import annotations

from dashboard.figures.theme import FONT, LIGHT, css_variables

STYLE = (
    f":root{{{css_variables(LIGHT)}}}\nbody{{font-family:{FONT}}}\n"
    + """
*{box-sizing:border-box}
html{background:var(--page)}
body{margin:0 auto;max-width:760px;padding:32px 32px 64px;background:var(--surface);color:var(--ink);font-size:14px;line-height:1.5;
font-variant-numeric:tabular-nums}
h1{font-size:28px;line-height:1.15;margin:0 0 4px;letter-spacing:-.01em}
h2{font-size:20px;line-height:1.2;margin:0 0 4px}
h3{font-size:14px;margin:20px 0 4px}
p{margin:0 0 8px;max-width:68ch}
.soft{color:var(--soft)}
table{border-collapse:collapse;width:100%;margin:8px 0 16px;font-size:12.5px}
th{font-weight:600;text-align:left;color:var(--soft);border-bottom:1.5px solid var(--ink);padding:4px 10px 4px 0;vertical-align:bottom}
td{border-bottom:1px solid var(--line);padding:5px 10px 5px 0;vertical-align:top;overflow-wrap:anywhere}
td.n,th.n{text-align:right;white-space:nowrap}
td b.new{color:var(--accent)}
.mark{display:inline-block;border:1.5px solid currentColor;border-radius:3px;padding:0 6px;font-size:12px;font-weight:600;white-space:nowrap}
.mark.change{background:var(--accent);border-color:var(--accent);color:var(--on-accent)}
.mark.trial{color:var(--accent)}
.mark.keep,.mark.more-data{color:var(--soft)}
.mark.more-data{border-style:dashed}
.mark.fix-first{background:var(--blocking);border-color:var(--blocking);color:#fff}
section.channel{break-before:page;border-top:3px solid var(--ink);padding-top:16px;margin-top:48px}
.settings{display:flex;gap:40px;flex-wrap:wrap;margin:12px 0;align-items:baseline}
.settings div{min-width:0}
.settings dt{color:var(--soft);font-size:12px;margin:0}
.settings dd{margin:0;font-size:22px;font-weight:650;letter-spacing:-.01em}
.settings dd .was{color:var(--soft);font-weight:400;font-size:16px}
.settings dd .new{color:var(--accent)}
ul{margin:4px 0 8px;padding-left:18px}
li{margin:2px 0;max-width:72ch}
figure{margin:0 0 8px;break-inside:avoid}
figcaption{font-weight:600;font-size:14px;margin:14px 0 0}
figcaption span{display:block;font-weight:400;color:var(--soft);font-size:12.5px;max-width:72ch}
.plot{width:696px;max-width:100%}
.finding{border-left:3px solid var(--line);padding:2px 0 2px 10px;margin:8px 0;break-inside:avoid}
.finding.warning{border-color:var(--warning)}.finding.blocking{border-color:var(--blocking)}
.finding b{margin-right:6px}
.finding small{display:block;color:var(--soft);overflow-wrap:anywhere}
.cautions{border:1.5px solid var(--ink);padding:10px 14px;margin:20px 0;break-inside:avoid}
.cautions h3{margin:0 0 4px}
a{color:var(--accent)}
tr{break-inside:avoid}
thead{display:table-header-group}
h2,h3,figcaption{break-after:avoid}
@media screen and (max-width:760px){figure{overflow-x:auto}.settings{gap:16px 24px}.plot{max-width:none}
body{padding:16px}table{display:block;overflow-x:auto}}
@page{size:A4;margin:14mm 13mm 16mm;@bottom-right{content:counter(page) " / " counter(pages);font:9pt sans-serif}}
@media print{html,body{background:#fff}body{max-width:none;padding:0;font-size:10.5pt}section.channel{margin-top:0}
*{-webkit-print-color-adjust:exact;print-color-adjust:exact}a{color:inherit;text-decoration:none}}
"""
)

SCRIPT = """
(function () {
  var waiting = Array.prototype.slice.call(document.querySelectorAll('script.figure'));
  function draw(node) {
    var figure = JSON.parse(node.textContent);
    Plotly.newPlot(node.previousElementSibling, figure.data, figure.layout, {displayModeBar: false, responsive: false});
  }
  // What is wider than the screen is moved with the keys, too.
  function reach() {
    document.querySelectorAll('figure, table').forEach(function (node) {
      if (node.scrollWidth > node.clientWidth) { node.tabIndex = 0; } else { node.removeAttribute('tabindex'); }
    });
  }
  window.addEventListener('resize', reach);
  // One figure a turn, so that a large building does not freeze the page; all that is left before printing.
  function next() {
    if (!waiting.length) { reach(); document.documentElement.dataset.drawn = 'all'; return; }
    draw(waiting.shift());
    setTimeout(next, 0);
  }
  window.addEventListener('beforeprint', function () { while (waiting.length) { draw(waiting.shift()); } });
  next();
})();
"""
