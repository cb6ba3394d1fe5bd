/* The library's choice of a hold-off (tuning/decision.py), made again at other prices from the resamples that were kept. A test holds the two together. */
(function () {
  'use strict';
  function quantile(sorted, q) { const at = q * (sorted.length - 1), i = Math.floor(at); return sorted[i] + (at - i) * ((sorted[i + 1] ?? sorted[i]) - sorted[i]); }

  /* given: points with usable, s, meanFalse, meanKwh, chosenFalse, chosenKwh (resamples); now (index of the setting in force or null); terms. */
  function decide(given, perFalseOff, price) {
    const points = given.points, terms = given.terms, now = given.now;
    const mean = p => p.meanFalse * perFalseOff + p.meanKwh * price;
    const drawn = p => p.chosenFalse.map((f, k) => f * perFalseOff + p.chosenKwh[k] * price);
    const least = Math.min(...points.filter(p => p.usable).map(mean)), found = points.findIndex(p => p.usable && mean(p) <= least + terms.tie * Math.abs(least));
    const best = found < 0 ? null : found;
    const told = (index, decision) => terms.blocked ? {best, index: now === null ? index : now, decision: 'fix-first'} : {best, index, decision};
    if (best === null) { return told(now, 'keep'); }
    if (now === null) { return told(best, terms.enoughUncut ? 'change' : 'more-data'); }
    if (best === now) { return told(now, 'keep'); }
    if (!terms.enough) { return told(now, 'more-data'); }
    const saving = mean(points[now]) - mean(points[best]), pays = saving > terms.visitPerWeek, paysAlong = saving > (terms.due ? terms.along : 1) * terms.visitPerWeek;
    const costs = drawn(points[best]), better = drawn(points[now]).filter((c, k) => c > costs[k]).length / costs.length;
    const beyond = points[best].s > terms.beyond * terms.inForce, must = !points[now].usable;
    if (must || (better >= terms.sure && paysAlong)) {
      const trial = beyond && !must && (points[best].s > terms.farBeyond * terms.inForce || open(points, costs, drawn, terms));
      if (!trial) { return told(best, 'change'); }
    }
    return pays && beyond ? told(best, 'trial') : told(now, 'keep');
  }
  /* Whether the resamples disagree about the best setting. */
  function open(points, costs, drawn, terms) {
    const all = points.filter(p => p.usable).map(drawn);
    const ratio = Float64Array.from(costs, (c, k) => c / Math.max(Math.min(...all.map(a => a[k])), 1e-9)).sort();
    return quantile(ratio, terms.sure) > terms.disagree;
  }
  window.holdoff = Object.assign({}, window.holdoff, {decide, quantile});
})();
