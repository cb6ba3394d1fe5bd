// Going from page to page: whoever goes on begins at the new page's content; whoever goes back finds the list where it was left.
(function () {
  'use strict';
  const KEY = 'holdoff-left:', PATIENCE_MS = 8000, STAY_MS = 3000, LOOK_MS = 60;
  let path = window.location.pathname, restoring = false, watch = null;

  const kept = at => { try { return JSON.parse(window.sessionStorage.getItem(KEY + at)) || {}; } catch (_) { return {}; } };
  const keep = (at, more) => { try { window.sessionStorage.setItem(KEY + at, JSON.stringify({...kept(at), ...more})); } catch (_) { /* private windows may refuse */ } };
  const alike = href => [...document.querySelectorAll('#content a[href]')].filter(a => a.getAttribute('href') === href);
  // A page that is being taken down shrinks, and would say 0.
  window.addEventListener('scroll', () => { if (!restoring && window.location.pathname === path) { keep(path, {y: window.scrollY}); } }, {passive: true});
  document.addEventListener('click', event => {
    const link = event.target.closest && event.target.closest('#content a[href]');
    if (link) { const href = link.getAttribute('href'); keep(window.location.pathname, {y: window.scrollY, link: href, nth: alike(href).indexOf(link)}); }
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
  function on() {
    const title = document.querySelector('#content h1'), now = window.location.pathname;
    if (now === path) { return; }
    path = now;
    until(() => { const h1 = document.querySelector('#content h1'); return h1 && h1 !== title; }, () => {
      // Not the heading itself, which is drawn anew when more is known.
      const main = document.getElementById('content');
      if (free()) { main.setAttribute('tabindex', '-1'); main.focus({preventScroll: true}); }
    });
  }
  function back() {
    const left = kept(window.location.pathname);
    path = window.location.pathname;
    if (!left.y && !left.link) { return; }
    const link = () => alike(left.link)[left.nth || 0];
    until(() => document.documentElement.scrollHeight >= (left.y || 0) + window.innerHeight && (!left.link || link()), () => {
      window.scrollTo(0, left.y || 0);
      // Lists are drawn anew when more is known; until a hand says otherwise, the place stays.
      const begun = Date.now();
      restoring = true;
      watch = setInterval(() => {
        if (left.link && free() && link()) { link().focus({preventScroll: true}); }
        if (Date.now() - begun > STAY_MS) { clearInterval(watch); restoring = false; }
      }, LOOK_MS);
    });
  }
  window.addEventListener('_dashprivate_pushstate', () => setTimeout(on, 0));
  window.addEventListener('popstate', () => { if (window.location.pathname !== path) { back(); } });
  window.history.scrollRestoration = 'manual';
  const come = window.performance.getEntriesByType('navigation')[0];
  if (come && (come.type === 'back_forward' || come.type === 'reload')) { back(); }
})();
