// Before anything is drawn: the scheme chosen last time, so that no page flashes in the wrong one.
(function () {
  try {
    var chosen = JSON.parse(window.localStorage.getItem('scheme-choice'));
    if (chosen === 'dark' || chosen === 'light') { document.documentElement.dataset.scheme = chosen; }
  } catch (error) { /* private windows may forbid storage; the system's scheme is used then */ }
})();
