/* Brings what lies further down the room page when it comes near the window, or when somebody prints; `dashboard/pages/room/later.py` says why. */
(function () {
  'use strict';
  const AHEAD = 0.4, PATIENCE_MS = 10000, LOOK_MS = 100;
  const outline = place => place.querySelector('[data-outline]');
  const places = () => [...document.querySelectorAll('[data-later]')].filter(outline);
  /* Outlines in whose place something is on its way. */
  const asked = new WeakSet();
  function bring(place) {
    watch.unobserve(place);
    if (asked.has(outline(place))) { return; }
    asked.add(outline(place));
    window.dash_clientside.set_props(place.dataset.later, {data: true});
  }
  const watch = new IntersectionObserver(
    seen => seen.filter(s => s.isIntersecting && outline(s.target)).forEach(s => bring(s.target)), {rootMargin: 100 * AHEAD + '% 0px'});

  const all = () => places().forEach(bring);
  const open = () => places().length || document.querySelector('.later [data-dash-is-loading=true], .later .plot > :not([style*="--drawn"]):not(.drawing)');
  window.addEventListener('beforeprint', all);
  /* Somebody goes to a place, and what lies above it moves it. */
  document.addEventListener('bring-until', event => places()
    .filter(place => place.contains(event.detail) || event.detail.contains(place) || place.compareDocumentPosition(event.detail) & Node.DOCUMENT_POSITION_FOLLOWING)
    .forEach(bring));
  window.matchMedia('print').addEventListener('change', event => { if (event.matches) { all(); } });
  // A printer does not wait: whoever asks by the keys gets the page once all of it is there.
  window.addEventListener('keydown', event => {
    if (event.key !== 'p' || !(event.ctrlKey || event.metaKey) || event.shiftKey || event.altKey || !places().length) { return; }
    event.preventDefault();
    const begun = Date.now();
    all();
    const wait = setInterval(() => {
      if (open() && Date.now() - begun < PATIENCE_MS) { return; }
      clearInterval(wait);
      window.print();
    }, LOOK_MS);
  });

  window.dash_clientside = Object.assign({}, window.dash_clientside, {later: {
    /* What comes first is there: now look what else is near. */
    watch(_figure, _tried, place) {
      places().forEach(p => { if ('asked' in p.dataset) { bring(p); } else { watch.unobserve(p); watch.observe(p); } });
      return place;
    },
  }});
})();
