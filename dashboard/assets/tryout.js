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

  /* what the settings bring: every target has its own rates; points hold those of the target in force, resamples those of the recommended one */
  const target = lx => d.targets.find(t => t.lx === lx) || null;
  function rate(field, i, lx) { const t = target(lx), p = d.points[i]; return t ? t[field][i] : field === 'wastedKwh' ? p.meanKwh : field === 'kwh' ? p.kwh : p[field][0]; }
  const against = (field, i, lx, base) => { const was = rate(field, i, base); return was > 0 ? rate(field, i, lx) / was : 1; };
  const mean = (i, lx) => rate('false', i, lx) * s.perFalseOff + rate('wastedKwh', i, lx) * s.price;
  function range(values) { const sorted = Float64Array.from(values).sort(); return [window.holdoff.quantile(sorted, 0.05), window.holdoff.quantile(sorted, 0.95)]; }
  function drawn(i, lx) {
    const p = d.points[i], f = against('false', i, lx, d.newLx) * s.perFalseOff, k = against('wastedKwh', i, lx, d.newLx) * s.price;
    return p.drawsFalse.map((x, j) => x * f + p.drawsKwh[j] * k);
  }
  function reach(field, i, lx) { const by = against(field, i, lx, d.nowLx), v = d.points[i][field]; return [rate(field, i, lx), v[1] * by, v[2] * by]; }
  const around = (value, [low, high]) => [value, Math.min(low, value), Math.max(high, value)];
  function brings(index, lx) {
    if (index === null) { return null; }
    const costs = drawn(index, lx), out = {false: reach('false', index, lx), waste: reach('waste', index, lx), kwh: [rate('kwh', index, lx)]};
    out.cost = around(mean(index, lx), range(costs));
    if (d.now !== null) {
      const used = at => rate('kwh', index, at) - rate('wastedKwh', index, at), saved = lx === d.nowLx ? 0 : (used(d.nowLx) - used(lx)) * s.price;
      const base = drawn(d.now, d.nowLx), gain = mean(d.now, d.nowLx) - out.cost[0] + saved;
      out.gain = index === d.now ? [gain] : around(gain, range(costs.map((c, i) => base[i] - c + saved)));
    }
    const t = target(lx);
    out.under = t ? [100 * t.under] : null;
    return out;
  }
  /* Costs are straight lines in either price, so the prices between which one setting stays the cheapest are exact. */
  function stays(best, slope, rest) {
    let low = 0, high = Infinity;
    d.points.forEach((p, i) => {
      if (!p.usable || i === best) { return; }
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
    const {best, index, decision} = window.holdoff.decide(d, s.perFalseOff, s.price), told = [];
    if (best !== null) {
      const stay = index === d.new, moved = !stay && d.new !== null, asked = s.perFalseOff !== d.perFalseOff || s.price !== d.price;
      const kept = () => ' is kept: ' + (decision === 'fix-first' ? 'a fault must be mended first.' : decision === 'more-data' ? 'the log is too short to change it.' : 'the difference is too small or too unsure to change it.');
      told.push(el('p', {class: moved ? 'verdict-line moved' : 'verdict-line'}, 'At these prices ', el('strong', {}, hold(d.points[best].s)), ' costs least',
        d.newLx !== d.nowLx && d.newLx !== null ? ' with the recommended ' + lux(d.newLx) : '',
        best !== index && index !== null ? '; ' + hold(d.points[index].s) + kept() : stay && !asked ? ', as recommended.' : stay ? '.' : d.new === null ? '.' : ', not the recommended ' + hold(d.points[d.new].s) + '.',
        moved ? ' The recommendation would move' + (decision === 'trial' ? ', as a trial.' : '.') : asked ? ' The recommendation does not move.' : ''));
      if (d.terms.ceiling !== null) {
        const few = d.points.some(p => p.allowed && p.meanFalse <= d.terms.ceiling), most = number(d.terms.ceiling, d.terms.ceiling % 1 ? 1 : 0);
        told.push(el('p', {class: 'flip'}, few ? 'Only settings with at most ' + most + ' false-offs a week count.' : 'No setting keeps to ' + most + ' false-offs a week; the longest comes closest.'));
      }
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
    const far = d.terms.ceiling == null || tried.meanFalse <= d.terms.ceiling;
    if (tried.allowed && !tried.usable && far) { told.push(el('p', {class: 'mind'}, hold(tried.s) + ' lies farther from the hold-off in force than its log foretells. Try a shorter one first; its log will tell.')); }
    else if (tried.allowed && !tried.usable) { told.push(el('p', {class: 'mind'}, hold(tried.s) + ' would leave more than the ' + number(d.terms.ceiling, d.terms.ceiling % 1 ? 1 : 0) + ' false-offs a week that are accepted here.')); }
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
    parts.holdText.textContent = hold(d.points[s.index].s);
    parts.hold.setAttribute('aria-valuetext', hold(d.points[s.index].s));
    if (parts.lx) { parts.lxText.textContent = lux(s.lx); parts.lx.setAttribute('aria-valuetext', lux(s.lx)); }
    table(); sentences();
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
