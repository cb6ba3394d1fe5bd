// Going from page to page: whoever goes on begins at the new page's content; whoever goes back finds the list where it was left; whoever
// goes to a section finds it, from within the page and by its address.
(function () {
  'use strict';
  const KEY = 'holdoff-left:', PATIENCE_MS = 30000, STAY_MS = 3000, LONGEST_STAY_MS = 16000, LOOK_MS = 60;
  let path = window.location.pathname, restoring = false, watch = null;

  const kept = at => { try { return JSON.parse(window.sessionStorage.getItem(KEY + at)) || {}; } catch (_) { return {}; } };
  const keep = (at, more) => { try { window.sessionStorage.setItem(KEY + at, JSON.stringify({...kept(at), ...more})); } catch (_) { /* private windows may refuse */ } };
  const alike = href => [...document.querySelectorAll('#content a[href]')].filter(a => a.getAttribute('href') === href);
  /* Where the window stands: how far down the page, and at which heading, because what lies above may be another height next time. */
  function standing() {
    const above = [...document.querySelectorAll('#content h2[id]')].filter(h => h.getBoundingClientRect().top < window.innerHeight).pop();
    return {y: window.scrollY, at: above ? above.id : null, off: above ? above.getBoundingClientRect().top : 0};
  }
  // A page that is being taken down shrinks, and would say 0.
  window.addEventListener('scroll', () => { if (!restoring && window.location.pathname === path) { keep(path, standing()); } }, {passive: true});
  document.addEventListener('click', event => {
    const link = event.target.closest && event.target.closest('#content a[href]');
    if (link) { const href = link.getAttribute('href'); keep(window.location.pathname, {...standing(), link: href, nth: alike(href).indexOf(link)}); }
  }, true);

  function until(test, done) {
    const begun = Date.now();
    clearInterval(watch);
    restoring = true;
    watch = setInterval(() => {
      const late = Date.now() - begun > PATIENCE_MS;
      if (late || test()) { clearInterval(watch); restoring = false; path = window.location.pathname; if (!late) { done(); } }
    }, LOOK_MS);
  }
  // A hand on the wheel or the keys knows better.
  for (const name of ['wheel', 'touchmove', 'keydown', 'pointerdown']) {
    window.addEventListener(name, () => { if (restoring) { clearInterval(watch); restoring = false; path = window.location.pathname; } }, {passive: true, capture: true});
  }

  const free = () => !document.activeElement || document.activeElement === document.body || document.activeElement.id === 'content';
  function attend(place) {
    if (place.tabIndex < 0) { place.setAttribute('tabindex', '-1'); }
    place.focus({preventScroll: true});
  }
  function on() {
    const title = document.querySelector('#content h1'), now = window.location.pathname;
    if (now === path) { return; }
    path = now;
    until(() => { const h1 = document.querySelector('#content h1'); return h1 && h1 !== title; }, () => {
      // Not the heading itself, which is drawn anew when more is known.
      if (free()) { attend(document.getElementById('content')); }
    });
  }
  function back() {
    const left = kept(window.location.pathname);
    path = window.location.pathname;
    if (!left.y && !left.link) { return; }
    const link = () => alike(left.link)[left.nth || 0];
    const mark = () => left.at && document.getElementById(left.at);
    const stand = () => {
      const y = mark() ? window.scrollY + mark().getBoundingClientRect().top - left.off : left.y || 0;
      if (Math.abs(y - window.scrollY) > 1) { window.scrollTo(0, y); }
    };
    const tall = () => {
      // What comes only when it is near makes the page as tall as it was.
      bring(document.documentElement);
      return !coming() && (mark() || document.documentElement.scrollHeight >= (left.y || 0) + window.innerHeight);
    };
    until(() => tall() && (!left.link || link()), () => {
      stand();
      // Lists are drawn anew when more is known, and figures above get their height; until a hand says otherwise, the place stays.
      stay(() => { stand(); if (left.link && free() && link()) { link().focus({preventScroll: true}); } });
    });
  }
  /* What comes only when it is near (later.js), up to a place and the place itself: it is asked for, and not there yet. */
  const bring = place => document.dispatchEvent(new CustomEvent('bring-until', {detail: place}));
  const loading = () => document.querySelector('.later [data-dash-is-loading=true]');
  const coming = () => loading() || document.querySelector('[data-outline]');

  function stay(there) {
    const begun = Date.now();
    let height = 0, still = begun;
    clearInterval(watch);
    restoring = true;
    watch = setInterval(() => {
      const now = Date.now(), high = document.documentElement.scrollHeight;
      if (high !== height || loading()) { height = high; still = now; }
      there();
      if (now - still > STAY_MS || now - begun > LONGEST_STAY_MS) { clearInterval(watch); restoring = false; }
    }, LOOK_MS);
  }

  /* A section of the page. The browser's own way would tell the router that the address has changed, which then draws the whole page anew, at its top. */
  const section = hash => { try { return document.getElementById(decodeURIComponent(hash.slice(1))); } catch (_) { return null; /* a percent sign that means nothing */ } };
  function goto(hash) {
    let place = section(hash);
    bring(place);
    place.scrollIntoView();
    attend(place);
    // What lies above gets its height when its figures are drawn, and the section itself may be put there only now that it is near.
    stay(() => {
      const now = section(hash);
      if (!now) { return; }
      if (now !== place && free()) { attend(now); }
      place = now;
      const off = place.getBoundingClientRect().top;
      if (off < 0 || off > window.innerHeight / 2) { place.scrollIntoView(); }
    });
  }
  document.addEventListener('click', event => {
    const link = event.target.closest && event.target.closest('a[href^="#"]');
    const place = link && !event.button && !(event.ctrlKey || event.metaKey || event.shiftKey || event.altKey) && section(link.hash);
    if (!place) { return; }
    event.preventDefault();
    window.history.replaceState(window.history.state, '', link.hash);
    goto(link.hash);
  });
  window.addEventListener('_dashprivate_pushstate', () => setTimeout(on, 0));
  window.addEventListener('popstate', () => { if (window.location.pathname !== path) { back(); } });
  window.history.scrollRestoration = 'manual';
  const come = window.performance.getEntriesByType('navigation')[0];
  const sent = window.location.hash;
  if (come && (come.type === 'back_forward' || come.type === 'reload')) { back(); }
  // An address with a section in it, sent to somebody: the section is there once the page has been answered.
  else if (sent.length > 1) { until(() => section(sent), () => goto(sent)); }
})();
