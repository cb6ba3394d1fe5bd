/* A figure is drawn when it comes near the window: plotly.js takes most of what a room page costs the browser, and most figures lie further below. */
(function () {
  'use strict';
  const AHEAD = 0.75, CLEAR = 'rgba(0,0,0,0)';
  const EMPTY = {autosize: true, xaxis: {visible: false}, yaxis: {visible: false}, paper_bgcolor: CLEAR, plot_bgcolor: CLEAR};
  /* Elements of figures → what is to be drawn there; only the last of several. */
  const held = new Map();
  let plotly = null;

  function near(place) {
    const box = place.getBoundingClientRect(), margin = AHEAD * window.innerHeight;
    return box.width > 0 && box.bottom > -margin && box.top < window.innerHeight + margin;
  }
  function draw(place) {
    const given = held.get(place);
    forget(place);
    if (given && place.isConnected) { plotly.react(place, ...given); }
  }
  function forget(place) {
    held.delete(place);
    watch.unobserve(place);
    if (place.parentElement) { delete place.parentElement.dataset.held; }
  }
  const watch = new IntersectionObserver(
    seen => seen.filter(s => s.isIntersecting).forEach(s => draw(s.target)), {rootMargin: 100 * AHEAD + '% 0px'});

  function react(place, ...given) {
    if (!given[0] || !given[0].data || near(place) || window.matchMedia('print').matches) {
      if (held.has(place)) { forget(place); }
      return plotly.react(place, ...given);
    }
    // Events can be tied to nothing but a figure: an empty one stands there until then.
    const first = place._fullLayout ? Promise.resolve(place) : plotly.react(place, {data: [], layout: EMPTY, config: given[0].config});
    held.set(place, given);
    // Says to the style sheet that there is still something to be drawn.
    place.parentElement.dataset.held = '';
    watch.observe(place);
    return first;
  }
  function purge(place) {
    if (held.has(place)) { forget(place); }
    return plotly.purge(place);
  }
  const every = () => [...held.keys()].forEach(draw);
  window.addEventListener('beforeprint', every);
  window.matchMedia('print').addEventListener('change', event => { if (event.matches) { every(); } });

  // plotly.js is loaded with the first page that has a figure, and then put here by itself.
  let shown;
  Object.defineProperty(window, 'Plotly', {
    configurable: true,
    get() { return shown; },
    set(loaded) { plotly = loaded; shown = loaded && Object.create(loaded, {react: {value: react}, purge: {value: purge}}); },
  });
})();
