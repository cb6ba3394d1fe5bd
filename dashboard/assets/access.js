// Sends with every change the proof that it comes from our own page, and says so when the server refuses.
(function () {
  'use strict';
  var SAFE = ['GET', 'HEAD', 'OPTIONS'];

  function proof() {
    var found = /(?:^|; )_csrf_token=([^;]*)/.exec(document.cookie);
    return found ? decodeURIComponent(found[1]) : '';
  }

  function own(url) { return new URL(url, window.location.href).origin === window.location.origin; }

  function guarded(method, url) { return SAFE.indexOf((method || 'GET').toUpperCase()) < 0 && own(url) && proof() !== ''; }

  function refused(status, words) {
    if (status === 401) {
      // The session has ended: the same address asks for the name, and comes back here.
      window.location.reload();
      return;
    }
    var box = document.getElementById('refused');
    if (!box) {
      box = document.createElement('div');
      box.id = 'refused';
      box.className = 'refused-bar';
      box.setAttribute('role', 'alert');
      document.body.append(box);
    }
    var close = document.createElement('button');
    close.type = 'button';
    close.className = 'quiet';
    close.textContent = 'Close';
    close.addEventListener('click', function () { box.remove(); });
    var text = document.createElement('p');
    text.textContent = words || 'This was refused.';
    box.replaceChildren(text, close);
  }

  function look(status, read) {
    if (status !== 401 && status !== 403) { return; }
    read().then(function (body) { refused(status, body.error); }, function () { refused(status, ''); });
  }

  var fetched = window.fetch;
  window.fetch = function (what, how) {
    var request = what instanceof Request ? what : null;
    var method = (how && how.method) || (request && request.method), url = request ? request.url : String(what);
    if (guarded(method, url)) {
      var headers = new Headers((how && how.headers) || (request && request.headers) || {});
      headers.set('X-CSRFToken', proof());
      how = Object.assign({}, how, { headers: headers });
    }
    return fetched.call(this, what, how).then(function (answer) {
      if (own(url)) { look(answer.status, function () { return answer.clone().json(); }); }
      return answer;
    });
  };

  var open = XMLHttpRequest.prototype.open, send = XMLHttpRequest.prototype.send;
  XMLHttpRequest.prototype.open = function (method, url) {
    this.holdoff = { method: method, url: url };
    return open.apply(this, arguments);
  };
  XMLHttpRequest.prototype.send = function () {
    var asked = this.holdoff, request = this;
    if (asked && guarded(asked.method, asked.url)) { request.setRequestHeader('X-CSRFToken', proof()); }
    if (asked && own(asked.url)) {
      request.addEventListener('loadend', function () {
        look(request.status, function () { return Promise.resolve(JSON.parse(request.responseText)); });
      });
    }
    return send.apply(this, arguments);
  };
})();
