/* Other settings and prices, computed where they are asked: means decide, draws make intervals. No request leaves the browser. */
(function () {
  'use strict';
  const NBSP = '\u00a0';
  let d = null, s = null, host = null, home = '', parts = {};
  // Whoever has gone on to another page keeps its address.
  const here = () => host !== null && host.isConnected && window.location.pathname === home;

  function el(tag, props, ...inner) {
    const node = document.createElement(tag);
    for (const [key, value] of Object.entries(props || {})) {
      if (value === null || value === undefined || value === false) { continue; }
      if (key === 'class') { node.className = value; } else if (key.startsWith('on')) { node.addEventListener(key.slice(2), value); } else { node.setAttribute(key, value === true ? '' : value); }
    }
    for (const child of inner.flat()) { if (child !== null && child !== undefined && child !== '') { node.append(child); } }
    return node;
  }
  function number(value, digits) {
    if (Math.abs(value) < 0.5 * 10 ** -digits) { value = 0; }
    const o = {minimumFractionDigits: digits, maximumFractionDigits: digits};
    let text; try { text = new Intl.NumberFormat(d.language, o).format(value); } catch (_) { text = new Intl.NumberFormat('en', o).format(value); }
    return text.replace('-', '−');
  }
  const weekly = v => v < 0.005 ? '0' : number(v, v >= 10 ? 0 : v >= 0.95 ? 1 : 2);
  const hours = v => number(v, Math.abs(v) >= 100 ? 0 : 1);
  const cents = v => number(v, Math.abs(v) >= 1000 ? 0 : 2);
  const money = v => d.currency + NBSP + cents(v);
  const lux = v => number(v, 0) + NBSP + 'lx';
  const hold = v => v < 60 ? number(v, 0) + NBSP + 's' : number(v / 60, Math.abs(v / 60 - Math.round(v / 60)) < 0.05 ? 0 : 1) + NBSP + 'min';
  function price(v) { const digits = v >= 1 || v === 0 ? 2 : Math.min(6, 1 - Math.floor(Math.log10(v))); return d.currency + NBSP + number(v, Math.max(2, digits)); }

  /* what the settings bring */
  const mean = p => p.meanFalse * s.perFalseOff + p.meanKwh * s.price;
  const saved = lx => { const now = d.targets.find(t => t.lx === d.nowLx), then = d.targets.find(t => t.lx === lx); return now && then ? now.kwh - then.kwh : 0; };
  function quantile(sorted, q) { const at = q * (sorted.length - 1), i = Math.floor(at); return sorted[i] + (at - i) * ((sorted[i + 1] ?? sorted[i]) - sorted[i]); }
  function range(values) { const sorted = Float64Array.from(values).sort(); return [quantile(sorted, 0.05), quantile(sorted, 0.95)]; }
  const drawn = p => p.drawsFalse.map((f, i) => f * s.perFalseOff + p.drawsKwh[i] * s.price);
  function brings(index, lx) {
    if (index === null) { return null; }
    const p = d.points[index], kwh = saved(lx), cost = mean(p), costs = drawn(p), out = {};
    const wide = range(costs);
    out.false = p.false; out.waste = p.waste; out.kwh = [Math.max(p.kwh - kwh, 0)];
    out.cost = [cost, Math.min(wide[0], cost), Math.max(wide[1], cost)];
    if (d.now !== null) {
      const now = d.points[d.now], base = drawn(now), gain = mean(now) - cost + kwh * s.price, gains = range(costs.map((c, i) => base[i] - c + kwh * s.price));
      out.gain = index === d.now ? [gain] : [gain, Math.min(gains[0], gain), Math.max(gains[1], gain)];
    }
    const t = d.targets.find(one => one.lx === lx);
    out.under = t ? [100 * t.under] : null;
    return out;
  }
  function cheapest() {
    let best = null;
    d.points.forEach((p, i) => { if (p.allowed && (best === null || mean(p) < mean(d.points[best]))) { best = i; } });
    return best;
  }
  /* Costs are straight lines in either price, so the prices between which one setting stays the cheapest are exact. */
  function stays(best, slope, rest) {
    let low = 0, high = Infinity;
    d.points.forEach((p, i) => {
      if (!p.allowed || i === best) { return; }
      const a = slope(d.points[best]) - slope(p), b = rest(p) - rest(d.points[best]);
      if (a > 0) { high = Math.min(high, b / a); } else if (a < 0) { low = Math.max(low, b / a); }
    });
    return [low, high];
  }

  /* drawing */
  const ROWS = [['False-offs a week', 'false', weekly], ['Wasted on-time, h a week', 'waste', hours], ['Energy, kWh a week', 'kwh', hours],
    ['Nuisance and waste a week', 'cost', money], ['Saves a week against now', 'gain', money], ['Under-lit time, %', 'under', v => number(v, 0)]];
  function strip(values, most, least) {
    const node = el('div', {class: 'strip', 'aria-hidden': 'true'}), at = v => 100 * Math.min(Math.max((v - least) / (most - least || 1), 0), 1) + '%';
    for (const [name, v] of values) {
      if (!v) { continue; }
      if (name === 'tried' && v.length > 1) { const r = el('i', {class: 'reach'}); r.style.left = at(v[1]); r.style.width = 'calc(' + at(v[2]) + ' - ' + at(v[1]) + ')'; node.append(r); }
      const i = el('i', {class: name}); i.style.left = at(v[0]); node.append(i);
    }
    return node;
  }
  function table() {
    const cols = [['now', 'In force', brings(d.now, d.nowLx)], ['new', 'Recommended', brings(d.new, d.newLx)], ['tried', 'Tried', brings(s.index, s.lx)]].filter(c => c[2]);
    const body = ROWS.filter(([, f]) => cols.some(c => c[2][f])).map(([name, field, say]) => {
      const values = cols.map(c => [c[0], c[2][field]]), all = values.flatMap(v => v[1] ? (v[0] === 'tried' ? v[1] : [v[1][0]]) : []);
      const least = Math.min(0, ...all), most = Math.max(...all, least + 1e-9);
      return el('tr', {}, el('th', {scope: 'row'}, name),
        values.map(([c, v]) => el('td', {class: c}, v ? say(v[0]) : '–', c === 'tried' && v && v.length > 1 ? el('span', {class: 'range'}, (say === money ? cents : say)(v[1]) + ' to ' + (say === money ? cents : say)(v[2])) : null)),
        el('td', {class: 'strips'}, strip(values, most, least)));
    });
    parts.table.replaceChildren(el('thead', {}, el('tr', {}, el('td', {}), cols.map(c => el('th', {scope: 'col', class: 'h-' + c[0]}, c[1])), el('td', {}))), el('tbody', {}, body));
  }
  function sentences() {
    const best = cheapest(), told = [];
    if (best !== null) {
      const p = d.points[best], same = best === d.new, asked = s.perFalseOff !== d.perFalseOff || s.price !== d.price;
      told.push(el('p', {class: same ? 'verdict-line' : 'verdict-line moved'}, 'At these prices ', el('strong', {}, hold(p.s)), ' costs least',
        same ? (asked ? ': the recommendation does not move.' : ', as recommended.') : d.new === null ? '.' : asked ? ', not the recommended ' + hold(d.points[d.new].s) + ': the recommendation would move.' : ' by the mean alone; ' + hold(d.points[d.new].s) + ' is recommended, for the reasons given there.'));
      const say = (range, name) => {
        const [low, high] = range;
        if (low <= 0 && high === Infinity) { return 'Whatever ' + name + ' costs, it stays the cheapest.'; }
        if (high === Infinity) { return 'It stays the cheapest while ' + name + ' costs more than ' + price(low) + '.'; }
        if (low <= 0) { return 'It stays the cheapest while ' + name + ' costs less than ' + price(high) + '.'; }
        return 'It stays the cheapest while ' + name + ' costs between ' + price(low) + ' and ' + price(high) + '.';
      };
      told.push(el('p', {class: 'flip'}, say(stays(best, q => q.meanFalse, q => q.meanKwh * s.price), 'a false-off')),
        el('p', {class: 'flip'}, say(stays(best, q => q.meanKwh, q => q.meanFalse * s.perFalseOff), 'a kilowatt-hour')));
    }
    const tried = d.points[s.index];
    if (!tried.allowed) { told.push(el('p', {class: 'mind'}, hold(tried.s) + ' is not among the settings that may be set here: below the safety floor, beyond the code limit, or not on the detector.')); }
    else if (tried.beyond) { told.push(el('p', {class: 'mind'}, hold(tried.s) + ' lies beyond the hold-off in force: extrapolated, not seen in the log.')); }
    parts.told.replaceChildren(...told);
  }
  function mark() {
    const plot = document.querySelector('#room-delay .js-plotly-plot');
    if (!plot || !window.Plotly || !plot.layout) { return; }
    const others = (plot.layout.shapes || []).filter(x => x.name !== 'tried'), x = d.points[s.index].s, on = s.index !== d.now && s.index !== d.new;
    const style = getComputedStyle(document.documentElement);
    window.Plotly.relayout(plot, {shapes: on ? [...others, {name: 'tried', type: 'line', xref: 'x', yref: 'paper', x0: x, x1: x, y0: 0, y1: 1, line: {color: style.getPropertyValue('--ink').trim(), width: 1.5, dash: 'dot'}}] : others});
  }
  function address() {
    const query = new URLSearchParams(window.location.search), put = (k, v, on) => on ? query.set(k, v) : query.delete(k);
    put('hold', d.points[s.index].s, s.index !== start().index); put('lx', s.lx, s.lx !== start().lx && s.lx !== null);
    put('nuisance', s.perFalseOff, s.perFalseOff !== d.perFalseOff); put('price', s.price, s.price !== d.price);
    const text = query.toString(), url = window.location.pathname + (text ? '?' + text : '');
    if (url !== window.location.pathname + window.location.search) { window.history.replaceState(window.history.state, '', url); }
  }
  function start() { return {index: d.new !== null ? d.new : d.now !== null ? d.now : 0, lx: d.newLx !== null ? d.newLx : d.nowLx, perFalseOff: d.perFalseOff, price: d.price}; }
  let later = null;
  function follow() {
    const t0 = performance.now();
    parts.holdText.textContent = hold(d.points[s.index].s);
    parts.hold.setAttribute('aria-valuetext', hold(d.points[s.index].s));
    if (parts.lx) { parts.lxText.textContent = lux(s.lx); parts.lx.setAttribute('aria-valuetext', lux(s.lx)); }
    table(); sentences();
    host.dataset.ms = (performance.now() - t0).toFixed(1);
    const same = s.index === start().index && s.lx === start().lx && s.perFalseOff === d.perFalseOff && s.price === d.price;
    parts.reset.disabled = same;
    clearTimeout(later);
    later = setTimeout(() => { if (!here()) { return; } address(); mark(); window.dash_clientside.set_props('room-tried', {data: {hold_off_s: d.points[s.index].s, target_lx: s.lx}}); }, 120);
  }
  function ticks(count, marks) {
    const row = el('div', {class: 'ticks', 'aria-hidden': 'true'});
    for (const [i, name] of marks) { if (i !== null && i >= 0) { const t = el('i', {class: name}); t.style.left = (count > 1 ? 100 * i / (count - 1) : 0) + '%'; row.append(t); } }
    return row;
  }
  function slider(id, label, count, value, marks, ends, set) {
    const input = el('input', {type: 'range', id, min: 0, max: count - 1, step: 1}), text = el('output', {for: id});
    input.value = value;
    input.addEventListener('input', () => { set(Number(input.value)); follow(); });
    return [el('div', {class: 'control'}, el('div', {class: 'line-up'}, el('label', {for: id}, label), text), el('div', {class: 'track'}, ticks(count, marks), input), el('div', {class: 'ends', 'aria-hidden': 'true'}, el('span', {}, ends[0]), el('span', {}, ends[1]))), input, text];
  }
  function money_field(id, label, value, set) {
    const input = el('input', {type: 'number', id, min: 0, step: 'any', inputmode: 'decimal'});
    input.value = value;
    input.addEventListener('input', () => { const v = Number(input.value); if (input.value !== '' && isFinite(v) && v >= 0) { input.removeAttribute('aria-invalid'); set(v); follow(); } else { input.setAttribute('aria-invalid', 'true'); } });
    return [el('div', {class: 'field'}, el('label', {for: id}, label), input), input];
  }
  function build() {
    const p = d.points, t = d.targets, controls = el('div', {class: 'controls'});
    let node;
    [node, parts.hold, parts.holdText] = slider('try-hold', 'Hold-off', p.length, s.index, [[d.now, 'ring'], [d.new, 'diamond']], [hold(p[0].s), hold(p[p.length - 1].s)], v => { s.index = v; });
    controls.append(node);
    parts.lx = null;
    if (t.length > 1 && t.some(x => x.lx === s.lx)) {
      const at = lx => t.findIndex(x => x.lx === lx);
      [node, parts.lx, parts.lxText] = slider('try-target', 'Target at the detector', t.length, at(s.lx), [[at(d.nowLx), 'ring'], [at(d.newLx), 'diamond']], [lux(t[0].lx), lux(t[t.length - 1].lx)], v => { s.lx = t[v].lx; });
      controls.append(node);
    }
    const [c, cIn] = money_field('try-nuisance', 'Cost of a false-off [' + d.currency + ']', s.perFalseOff, v => { s.perFalseOff = v; });
    const [e, eIn] = money_field('try-price', 'Price of energy [' + d.currency + ' per kWh]', s.price, v => { s.price = v; });
    parts.reset = el('button', {type: 'button', class: 'quiet', onclick: () => { s = start(); build(); follow(); parts.hold.focus(); }}, 'Back to the recommendation');
    controls.append(el('div', {class: 'fields'}, c, e), parts.reset);
    parts.table = el('table', {class: 'compare'}); parts.told = el('div', {class: 'try-told', role: 'status'});
    host.replaceChildren(controls, el('div', {class: 'outcome'}, parts.table, parts.told));
  }
  function show(given) {
    host = document.getElementById('room-try'); home = window.location.pathname;
    if (!given || !host) { return window.dash_clientside.no_update; }
    d = given; s = start();
    const query = new URLSearchParams(window.location.search), at = d.points.findIndex(p => p.s === Number(query.get('hold')));
    if (query.has('hold') && at >= 0) { s.index = at; }
    if (query.has('lx') && d.targets.some(t => t.lx === Number(query.get('lx')))) { s.lx = Number(query.get('lx')); }
    for (const [key, field] of [['nuisance', 'perFalseOff'], ['price', 'price']]) { const v = Number(query.get(key)); if (query.has(key) && isFinite(v) && v >= 0) { s[field] = v; } }
    build(); follow();
    return d.points.length;
  }
  window.dash_clientside = Object.assign({}, window.dash_clientside, {tryout: {show}});
})();
