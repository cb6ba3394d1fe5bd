/* The list of rooms: drawn, searched, sorted, selected and summed in the browser, so that 300 rooms answer at once. Its state stands in the address. */
(function () {
  'use strict';
  const NBSP = '\u00a0';
  let data = null, state = null, host = null, home = '', table = null, last = null, selected = '[]';
  // Whoever has gone on to another page keeps its address.
  const here = () => host !== null && host.isConnected && window.location.pathname === home;

  const SORTS = {
    worth: ['Worth most first', r => [r.blocked ? 0 : 1, -r.worth]],
    sure: ['Surest first', r => [-r.sure]],
    nuisance: ['Most false-offs first', r => [-r.false]],
    waste: ['Most wasted light first', r => [-r.waste]],
    energy: ['Most energy saved first', r => [-r.saved]],
    name: ['By name', () => []],
  };
  const HEADS = [
    ['Room, channel', '', 'c-name', 'name'], ['Advice', '', 'c-decision', null], ['Hold-off', '30 s to 1 h, logarithmic', 'c-hold', null],
    ['Target', 'at the detector', 'c-target', null], ['False-offs', 'per week', 'c-false', 'nuisance'], ['Wasted on-time', 'h per week', 'c-waste', 'waste'],
    ['Saves', 'per week, 90 % range', 'c-worth', 'worth'], ['Decided', '', 'c-decided', null], ['Findings', '', 'c-find', null],
  ];

  function el(tag, props, ...inner) {
    const node = document.createElement(tag);
    for (const [key, value] of Object.entries(props || {})) {
      if (value === null || value === undefined || value === false) { continue; }
      if (key === 'class') { node.className = value; } else if (key.startsWith('on')) { node.addEventListener(key.slice(2), value); }
      else if (key in node && key !== 'list' && typeof value !== 'string') { node[key] = value; } else { node.setAttribute(key, value === true ? '' : value); }
    }
    for (const child of inner.flat()) { if (child !== null && child !== undefined && child !== '') { node.append(child); } }
    return node;
  }

  /* numbers */
  const formats = {};
  function number(value, digits) {
    if (Math.abs(value) < 0.5 * 10 ** -digits) { value = 0; }
    const key = data.language + digits;
    if (!formats[key]) {
      try { formats[key] = new Intl.NumberFormat(data.language, {minimumFractionDigits: digits, maximumFractionDigits: digits}); }
      catch (_) { formats[key] = new Intl.NumberFormat('en', {minimumFractionDigits: digits, maximumFractionDigits: digits}); }
    }
    return formats[key].format(value).replace('-', '−');
  }
  const weekly = v => v < 0.005 ? '0' : number(v, v >= 10 ? 0 : v >= 0.95 ? 1 : 2);
  const hours = v => number(v, v >= 100 ? 0 : 1);
  const money = v => data.currency + NBSP + number(v, Math.abs(v) >= 1000 ? 0 : 2);
  const lux = v => v === null ? '–' : number(v, 0) + NBSP + 'lx';
  const hold = s => s === null ? 'none' : s < 60 ? number(s, 0) + NBSP + 's' : number(s / 60, Math.abs(s / 60 - Math.round(s / 60)) < 0.05 ? 0 : 1) + NBSP + 'min';

  /* the state, and the address that keeps it */
  const key = (room, channel) => room + '\n' + channel;
  function read() {
    const query = new URLSearchParams(window.location.search);
    const many = name => new Set((query.get(name) || '').split(',').filter(Boolean));
    const selected = new Set((query.get('sel') || '').split('~').filter(Boolean).map(one => one.split('/').map(decodeURIComponent)).map(p => key(p[0], p[1] || '')));
    const sort = query.get('sort') in SORTS ? query.get('sort') : 'worth';
    return {q: query.get('q') || '', show: many('show'), use: query.get('use') || '', decided: new Set([...many('decided')].map(d => d === 'none' ? '' : d)),
      attention: query.has('attention'), changed: query.has('changed'), sort, back: query.get('order') === 'reversed', selected};
  }
  function write() {
    const query = new URLSearchParams();
    if (state.q) { query.set('q', state.q); }
    if (state.show.size) { query.set('show', [...state.show].join(',')); }
    if (state.use) { query.set('use', state.use); }
    if (state.decided.size) { query.set('decided', [...state.decided].map(d => d || 'none').join(',')); }
    if (state.attention) { query.set('attention', 'yes'); }
    if (state.changed) { query.set('changed', 'yes'); }
    if (state.sort !== 'worth') { query.set('sort', state.sort); }
    if (state.back) { query.set('order', 'reversed'); }
    if (state.selected.size) { query.set('sel', [...state.selected].map(k => k.split('\n').map(encodeURIComponent).join('/')).join('~')); }
    const text = query.toString(), url = window.location.pathname + (text ? '?' + text : '');
    if (url !== window.location.pathname + window.location.search) { window.history.replaceState(window.history.state, '', url); }
  }

  /* which rooms, in which order */
  const counted = c => c.decision === 'change' || c.decision === 'trial';
  const all = () => data.rooms.flatMap(r => r.channels.map(c => [r, c]));
  function matches(room, c, but) {
    const text = [room.room, room.name, room.use, c.channel, c.control, room.drift ? room.drift.text : '', ...c.findings.map(f => f[0])].join(' ').toLowerCase();
    return state.q.toLowerCase().split(/\s+/).every(w => text.includes(w))
      && (but === 'show' || !state.show.size || state.show.has(c.decision))
      && (but === 'decided' || !state.decided.size || state.decided.has(c.decided ? c.decided.kind : ''))
      && (but === 'attention' || !state.attention || c.attention)
      && (but === 'changed' || !state.changed || room.drift)
      && (!state.use || room.use === state.use);
  }
  const sum = (list, f) => list.reduce((total, c) => total + (f(c) || 0), 0);
  function found() {
    const kept = [];
    for (const room of data.rooms) {
      const channels = room.channels.filter(c => matches(room, c));
      if (!channels.length) { continue; }
      kept.push({room, channels, name: room.name, blocked: channels.some(c => c.decision === 'fix-first'), worth: sum(channels.filter(counted), c => c.worth),
        sure: Math.max(-1, ...channels.map(c => c.sure === null ? -1 : c.sure)), false: sum(channels, c => c.false[0]), waste: sum(channels, c => c.waste[0]),
        saved: sum(channels.filter(counted), c => c.kwh[0] === null || c.kwh[1] === null ? 0 : c.kwh[0] - c.kwh[1])});
    }
    const order = SORTS[state.sort][1];
    const named = (a, b) => a.name.localeCompare(b.name, data.language, {numeric: true}) || (a.room.room < b.room.room ? -1 : 1);
    kept.sort((a, b) => { const x = order(a), y = order(b); for (let i = 0; i < x.length; i++) { if (x[i] !== y[i]) { return x[i] - y[i]; } } return named(a, b); });
    return state.back ? kept.reverse() : kept;
  }

  /* cells */
  function pair(now, then, say) {
    const a = say(now), b = say(then);
    return a === b ? [a] : [el('span', {class: 'was'}, a), el('span', {class: 'arrow'}, ' → '), el('strong', {class: 'new'}, b)];
  }
  const either = say => v => v === null ? '–' : say(v);
  function scale(c) {
    const along = s => 100 * Math.min(Math.max(Math.log(s / data.scale[0]) / Math.log(data.scale[1] / data.scale[0]), 0), 1);
    const node = el('div', {class: 'scale', 'aria-hidden': 'true'}), [now, then] = c.hold;
    const put = (name, left, width) => { const i = el('i', {class: name}); i.style.left = left + '%'; if (width !== undefined) { i.style.width = width + '%'; } node.append(i); };
    if (now !== null && then !== null && now !== then) { put('run', Math.min(along(now), along(then)), Math.abs(along(now) - along(then))); }
    if (now !== null) { put('ring', along(now)); }
    if (then !== null && then !== now) { put('diamond', along(then)); }
    return node;
  }
  function bars(values, most) {
    const node = el('div', {class: 'bars', 'aria-hidden': 'true'});
    values.forEach((v, i) => { if (v !== null && most > 0 && !(i && v === values[0])) { const bar = el('i', {class: i ? 'bar-new' : 'bar-now'}); bar.style.width = Math.min(100 * v / most, 100) + '%'; node.append(bar); } });
    return node;
  }
  function worth(c) {
    if (c.worth === null) { return ['–']; }
    const inner = [el('strong', {}, money(c.worth))];
    if (c.range) {
      inner.push(el('span', {class: 'range', title: 'Better in ' + number(100 * c.sure, 0) + NBSP + '% of the resampled days'}, number(c.range[0], 2) + ' to ' + number(c.range[1], 2)));
    }
    return inner;
  }
  function row(room, c, first, most) {
    const id = key(room.room, c.channel), chosen = state.selected.has(id);
    const box = el('input', {type: 'checkbox', checked: chosen, 'aria-label': 'Select ' + room.name + ' ' + c.channel});
    const link = el('a', {href: c.href, title: room.name + ', ' + c.channel}, first ? [el('strong', {}, room.name), ' '] : [], el('span', {class: 'channel'}, c.channel));
    const mark = data.decisions.find(d => d[0] === c.decision);
    const cells = [
      [[el('span', {class: 'mark ' + c.decision, title: mark[2]}, mark[1])], 'c-decision', ''],
      [[el('div', {}, pair(c.hold[0], c.hold[1], hold)), scale(c)], 'c-hold', 'Hold-off'],
      [[el('div', {}, c.target ? pair(c.target[0], c.target[1], lux) : '–')], 'c-target', 'Target'],
      [[el('div', {}, pair(c.false[0], c.false[1], either(weekly))), bars(c.false, most.false)], 'c-false', 'False-offs a week'],
      [[el('div', {}, pair(c.waste[0], c.waste[1], either(hours))), bars(c.waste, most.waste)], 'c-waste', 'Wasted, h a week'],
      [worth(c), 'c-worth', 'Saves a week'],
      !data.canDecide ? null : [c.decided ? [el('span', {class: 'stand ' + c.decided.kind, title: c.decided.title}, c.decided.text)] : [], 'c-decided', ''],
      [[first && room.drift ? el('span', {class: 'code drift ' + room.drift.level, title: room.drift.title}, room.drift.text) : null, c.findings.map(f => el('span', {class: 'code ' + f[1], title: f[2]}, f[0]))].flat().filter(Boolean), 'c-find', ''],
    ];
    const tr = el('tr', {class: chosen ? 'chosen' : '', 'data-key': id},
      el('td', {class: 'c-pick'}, el('label', {class: 'pick'}, box)),
      el('th', {scope: 'row', class: 'c-name'}, link, first ? el('span', {class: 'use'}, room.use) : null),
      cells.filter(Boolean).map(([inner, name, label]) => el('td', {class: name, 'data-label': label}, inner)));
    return tr;
  }

  /* drawing */
  function draw() {
    const rooms = found(), shown = rooms.flatMap(r => r.channels);
    const most = {}; for (const f of ['false', 'waste']) { most[f] = Math.max(0, ...shown.flatMap(c => c[f].filter(v => v !== null))); }
    const body = rooms.map(r => {
      const node = el('tbody', {}, r.channels.map((c, i) => row(r.room, c, i === 0, most)));
      if (r.channels.length > 1) { node.style.setProperty('--channels', r.channels.length); }
      return node;
    });
    const boxes = rooms.flatMap(r => r.channels.map(c => key(r.room.room, c.channel)));
    const picked = boxes.filter(k => state.selected.has(k)).length;
    const every = el('input', {type: 'checkbox', checked: picked > 0 && picked === boxes.length, 'aria-label': 'Select all rooms shown', id: 'pick-all'});
    every.indeterminate = picked > 0 && picked < boxes.length;
    const heads = HEADS.filter(h => data.canDecide || h[2] !== 'c-decided').map(([text, unit, name, sort]) => {
      const label = [text, unit ? el('span', {}, unit) : null];
      const active = sort && sort === state.sort;
      return el('th', {scope: 'col', class: name, 'aria-sort': active ? ((sort === 'name') !== state.back ? 'ascending' : 'descending') : null},
        sort ? el('button', {type: 'button', class: 'sorter' + (active ? ' active' : ''), 'data-sort': sort}, label) : label);
    });
    const next = el('table', {class: data.canDecide ? 'ranked' : 'ranked undecided'}, el('thead', {}, el('tr', {}, el('th', {class: 'c-pick', scope: 'col'}, el('label', {class: 'pick'}, every)), heads)), body);
    if (!rooms.length) {
      next.replaceChildren(el('tbody', {}, el('tr', {class: 'none'}, el('td', {colspan: '10'}, 'No room matches. Take out a word or a filter. ',
        el('button', {type: 'button', class: 'quiet', onclick: clear}, 'Show all rooms')))));
    }
    table.replaceChildren(next);
    host.querySelector('#building-count').textContent = rooms.length < data.rooms.length ? (rooms.length || 'none') + ' of ' + data.rooms.length : String(rooms.length);
    counts();
    totals();
  }
  function clear() { state = {...state, q: '', show: new Set(), use: '', decided: new Set(), attention: false, changed: false}; tools(); changed(); host.querySelector('input[type=search]').focus(); }
  function changed() { write(); draw(); }

  function counts() {
    const pairs = all(), tell = (but, test) => pairs.filter(([r, c]) => matches(r, c, but) && test(c)).length;
    host.querySelectorAll('[data-count]').forEach(node => {
      const [but, value] = node.dataset.count.split(':');
      const n = but === 'show' ? tell('show', c => c.decision === value) : but === 'decided' ? tell('decided', c => (c.decided ? c.decided.kind : '') === value) : but === 'changed' ? pairs.filter(([r, c]) => r.drift && matches(r, c, but)).length : tell('attention', c => c.attention);
      node.textContent = n;
    });
  }
  function chip(group, value, word, on, title) {
    const box = el('input', {type: 'checkbox', checked: on, 'data-group': group, value});
    return el('label', {class: 'chip', title}, box, el('span', {}, word, ' ', el('span', {class: 'count', 'data-count': group + ':' + value})));
  }
  function tools() {
    const uses = [...new Set(data.rooms.map(r => r.use))].sort();
    const search = el('input', {type: 'search', class: 'search', placeholder: 'Room, channel, use or finding', 'aria-label': 'Search rooms', autocomplete: 'off'});
    search.value = state.q;
    const choose = (name, label, options, value) => { const node = el('select', {class: name, 'aria-label': label}, options.map(([v, t]) => el('option', {value: v, selected: v === value}, t))); return node; };
    host.querySelector('.toolbar').replaceChildren(
      el('h2', {}, 'Rooms'), el('span', {id: 'building-count', class: 'soft', role: 'status'}), search,
      choose('uses', 'Use of the rooms', [['', 'All uses'], ...uses.map(u => [u, u])], state.use),
      choose('sort', 'Order of the rooms', Object.entries(SORTS).map(([k, v]) => [k, v[0]]), state.sort),
      el('div', {class: 'chips', role: 'group', 'aria-label': 'Show advice'}, data.decisions.map(([k, word, title]) => chip('show', k, word, state.show.has(k), title))),
      el('div', {class: 'chips', role: 'group', 'aria-label': 'Show by state'},
        data.canDecide ? data.decided.map(([k, word]) => chip('decided', k, word, state.decided.has(k))) : [],
        chip('attention', 'yes', 'Needs attention', state.attention, 'Something on site that no setting answers'),
        data.watched ? chip('changed', 'yes', 'Changed', state.changed, 'The room has changed since it was last set, and nobody has acknowledged it') : []));
  }

  /* totals */
  function totals() {
    const picked = all().filter(([r, c]) => state.selected.has(key(r.room, c.channel)));
    const bar = host.querySelector('.picked'), list = picked.map(p => p[1]), both = list.filter(c => c.false[0] !== null && c.false[1] !== null);
    bar.hidden = !list.length;
    const rooms = new Set(picked.map(p => p[0].room)).size;
    const figures = [['False-offs a week', 'false', weekly], ['Wasted on-time, h a week', 'waste', hours], ['Energy, kWh a week', 'kwh', hours]];
    const some = (n, word) => n + ' ' + word + (n === 1 ? '' : 's');
    bar.querySelector('.sums').replaceChildren(
      el('div', {class: 'who'}, el('strong', {role: 'status'}, some(list.length, 'channel') + ' in ' + some(rooms, 'room')), el('button', {type: 'button', class: 'quiet', onclick: () => { state.selected.clear(); changed(); }}, 'Clear')),
      el('dl', {}, el('div', {}, el('dt', {}, 'Saves a week'), el('dd', {}, money(sum(list.filter(counted), c => c.worth)))),
        figures.map(([name, field, say]) => el('div', {}, el('dt', {}, name), el('dd', {}, both.length ? pair(sum(both, c => c[field][0]), sum(both, c => c[field][1]), say) : '–')))));
    const told = JSON.stringify(picked.map(([r, c]) => [r.room, c.channel]));
    if (told !== selected && window.dash_clientside && window.dash_clientside.set_props) {
      window.dash_clientside.set_props('building-selection', {data: JSON.parse(told)});
      selected = told;
    }
  }

  /* events */
  function pick(id, on, range) {
    const keys = [...table.querySelectorAll('tr[data-key]')].map(tr => tr.dataset.key);
    const at = keys.indexOf(id), from = range && last !== null && keys.includes(last) ? keys.indexOf(last) : at;
    keys.slice(Math.min(at, from), Math.max(at, from) + 1).forEach(k => on ? state.selected.add(k) : state.selected.delete(k));
    last = id;
    refresh();
  }
  function refresh() {
    table.querySelectorAll('tr[data-key]').forEach(tr => { const on = state.selected.has(tr.dataset.key); tr.classList.toggle('chosen', on); tr.querySelector('input').checked = on; });
    const boxes = [...table.querySelectorAll('tr[data-key]')], n = boxes.filter(tr => state.selected.has(tr.dataset.key)).length, every = document.getElementById('pick-all');
    if (every) { every.checked = n > 0 && n === boxes.length; every.indeterminate = n > 0 && n < boxes.length; }
    write(); totals();
  }
  function open(event, link) {
    if (event.ctrlKey || event.metaKey || event.shiftKey || event.altKey || event.button) { return; }
    event.preventDefault();
    window.history.pushState({}, '', link.getAttribute('href'));
    window.dispatchEvent(new CustomEvent('_dashprivate_pushstate'));
    window.scrollTo(0, 0);
  }
  let timer = null;
  function listen() {
    table.addEventListener('click', event => {
      const link = event.target.closest('a'), sorter = event.target.closest('.sorter'), box = event.target.closest('input[type=checkbox]');
      if (link) { open(event, link); }
      else if (sorter) { const s = sorter.dataset.sort; state.back = state.sort === s ? !state.back : false; state.sort = s; host.querySelector('select.sort').value = s; changed(); table.querySelector('[data-sort=' + s + ']').focus(); }
      else if (box && box.id === 'pick-all') { table.querySelectorAll('tr[data-key]').forEach(tr => box.checked ? state.selected.add(tr.dataset.key) : state.selected.delete(tr.dataset.key)); refresh(); }
      else if (box) { pick(box.closest('tr').dataset.key, box.checked, event.shiftKey); }
    });
    table.addEventListener('keydown', event => {
      const tr = event.target.closest('tr[data-key]');
      if (!tr || event.ctrlKey || event.metaKey || event.altKey) { return; }
      const rows = [...table.querySelectorAll('tr[data-key]')], at = rows.indexOf(tr), on = event.target.tagName === 'A' ? 'a' : 'input';
      const go = i => { event.preventDefault(); rows[Math.min(Math.max(i, 0), rows.length - 1)].querySelector(on).focus(); };
      if (event.key === 'ArrowDown') { go(at + 1); } else if (event.key === 'ArrowUp') { go(at - 1); } else if (event.key === 'Home') { go(0); } else if (event.key === 'End') { go(rows.length - 1); }
      else if (event.key === ' ' && on === 'a') { event.preventDefault(); pick(tr.dataset.key, !state.selected.has(tr.dataset.key), event.shiftKey); }
      else if (event.key === 'Escape' && state.selected.size) { state.selected.clear(); refresh(); }
    });
    host.querySelector('.toolbar').addEventListener('input', event => {
      const t = event.target;
      if (t.type === 'search') { state.q = t.value; clearTimeout(timer); timer = setTimeout(() => { if (here()) { changed(); } }, 120); return; }
      if (t.classList.contains('uses')) { state.use = t.value; } else if (t.classList.contains('sort')) { state.sort = t.value; state.back = false; }
      else if (t.dataset.group === 'attention' || t.dataset.group === 'changed') { state[t.dataset.group] = t.checked; } else if (t.dataset.group) { t.checked ? state[t.dataset.group].add(t.value) : state[t.dataset.group].delete(t.value); }
      changed();
    });
  }

  function show(given) {
    host = document.getElementById('building-rows'); home = window.location.pathname;
    if (!given || !host) { return window.dash_clientside.no_update; }
    data = given; state = read();
    const fresh = table !== host.querySelector('.listing');
    if (fresh) { table = host.querySelector('.listing'); listen(); }
    const known = new Set(all().map(([r, c]) => key(r.room, c.channel)));
    state.selected = new Set([...state.selected].filter(k => known.has(k)));
    selected = fresh ? '[]' : selected;
    tools(); draw(); write();
    return given.rooms.length;
  }

  window.dash_clientside = Object.assign({}, window.dash_clientside, {rooms: {show}});
})();
