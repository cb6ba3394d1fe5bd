/* Asks whether there is news, for as long as somebody can see the page. Only when the server's stamp is another one are the callbacks asked what it is. */
(function () {
  'use strict';
  const FIRST_MS = 700, AFTER_FAILURE_MS = 2000;
  let timer = null, asking = false, soon = FIRST_MS, path = null, seen = null, told = 0;

  function where(now) {
    const parts = /^\/building\/([^/]+)(\/logs)?/.exec(now);
    return '/api/news' + (parts ? '/' + parts[1] + (parts[2] ? '?all' : '') : '');
  }
  function later(ms) { clearTimeout(timer); timer = ms === null || document.hidden ? null : setTimeout(ask, ms); }
  async function ask() {
    // Before the frame is there nobody could be told.
    if (asking || document.hidden) { return; }
    if (!document.getElementById('status')) { later(FIRST_MS); return; }
    const now = window.location.pathname;
    asking = true;
    try {
      const answer = await window.fetch(where(now), {headers: {Accept: 'application/json'}});
      if (!answer.ok) { throw new Error(answer.status); }
      const news = await answer.json();
      soon = news.ms;
      if (now !== path || news.stamp !== seen) {
        // Also once after a page has been opened: what it shows may be older than the first stamp.
        path = now;
        seen = news.stamp;
        told += 1;
        window.dash_clientside.set_props('poll', {data: told});
      }
    } catch (_) { soon = AFTER_FAILURE_MS; }
    asking = false;
    later(window.location.pathname === now ? soon : FIRST_MS);
  }
  const gone = () => { if (window.location.pathname !== path) { later(FIRST_MS); } };
  window.addEventListener('_dashprivate_pushstate', () => setTimeout(gone, 0));
  window.addEventListener('popstate', gone);
  document.addEventListener('visibilitychange', () => later(0));
  later(FIRST_MS);
})();
