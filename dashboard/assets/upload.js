// Brings files into a building, piece by piece. Goes on after a reload (drop the file again), a lost line or a server that was restarted.
(function () {
  'use strict';
  var CHUNK = 8 * 1024 * 1024, WAIT_MS = 1500, PATIENCE = 400;
  var queue = [], running = false, arrived = 0;

  function who() { var box = document.getElementById('who'); return box ? box.value.trim() : ''; }

  function building() {
    var found = /^\/building\/([^/]+)\/logs/.exec(window.location.pathname);
    return found ? decodeURIComponent(found[1]) : '';
  }

  function element(tag, attributes, text) {
    var made = document.createElement(tag);
    Object.keys(attributes || {}).forEach(function (k) { made.setAttribute(k, attributes[k]); });
    if (text) { made.textContent = text; }
    return made;
  }

  function size(bytes) {
    var units = ['B', 'kB', 'MB', 'GB'], i = 0;
    while (bytes >= 1000 && i < 3) { bytes /= 1000; i += 1; }
    return bytes.toLocaleString(undefined, { maximumFractionDigits: i ? 1 : 0 }) + '\u00a0' + units[i];
  }

  function mount(box) {
    if (box.dataset.ready) { return; }
    box.dataset.ready = 'yes';
    var input = element('input', { type: 'file', multiple: '', id: 'file-choice', 'class': 'file-choice' });
    var label = element('label', { 'for': 'file-choice' });
    label.append(element('strong', {}, 'Drop files here'), document.createTextNode(' or choose them'));
    box.append(input, label, element('ul', { 'class': 'coming', 'aria-label': 'Files on their way' }));
    input.addEventListener('change', function () { take(box, input.files); input.value = ''; });
    box.addEventListener('dragover', function (e) { e.preventDefault(); box.classList.add('over'); });
    box.addEventListener('dragleave', function () { box.classList.remove('over'); });
    box.addEventListener('drop', function (e) {
      e.preventDefault();
      box.classList.remove('over');
      take(box, e.dataTransfer.files);
    });
  }

  function take(box, files) {
    Array.prototype.forEach.call(files, function (file) {
      var line = element('li', {}), bar = element('progress', { max: '1', value: '0', 'aria-label': 'Progress of ' + file.name });
      var told = element('span', { 'class': 'soft', role: 'status' }, 'waiting');
      var stop = element('button', { type: 'button', 'class': 'quiet', 'aria-label': 'Stop ' + file.name }, 'Stop');
      line.append(element('span', { 'class': 'file' }, file.name), bar, told, stop);
      box.querySelector('.coming').append(line);
      var job = { file: file, building: building(), line: line, bar: bar, told: told, stopped: false, offset: 0, id: null };
      stop.addEventListener('click', function () { halt(job); });
      queue.push(job);
    });
    next();
  }

  function halt(job) {
    job.stopped = true;
    if (job.request) { job.request.abort(); }
    if (job.id) { window.fetch('/api/uploads/' + job.id, { method: 'DELETE' }); }
    job.line.remove();
  }

  function say(job, text) { job.told.textContent = text; }

  function next() {
    if (running || !queue.length) { return; }
    running = true;
    var job = queue.shift();
    bring(job).catch(function (error) {
      if (!job.stopped) { job.line.classList.add('failed'); say(job, error.message); job.bar.remove(); }
    }).then(function () { running = false; next(); });
  }

  async function bring(job) {
    if (job.stopped) { return; }
    if (!who()) { throw new Error('Say who you are first, in the field "Your name" above; then drop it again.'); }
    await begin(job);
    for (var tries = 0; job.ended !== 'arrived' && !job.stopped;) {
      var before = job.offset;
      var answer = await piece(job);
      if (answer.status === 0 || answer.status >= 500) {
        tries += 1;
        if (tries > PATIENCE) { throw new Error('The server does not answer. Drop the file again to go on.'); }
        say(job, 'the server does not answer, trying again');
        await new Promise(function (go) { window.setTimeout(go, WAIT_MS); });
        continue;
      }
      if (answer.status === 200 || answer.status === 409) { job.offset = answer.body.offset; job.ended = answer.body.ended; }
      else { throw new Error(answer.body.error || 'It was refused.'); }
      if (job.offset > before) { tries = 0; }
      show(job, 0);
    }
    if (job.stopped) { return; }
    var shown = job.line.isConnected;
    job.line.remove();
    arrived += 1;
    // On another page there is no list to look at again.
    if (shown) { window.dash_clientside.set_props('logs-changed', { data: Date.now() + arrived }); }
  }

  async function begin(job) {
    for (var tries = 0; ; tries += 1) {
      try {
        var answer = await window.fetch('/api/uploads', {
          method: 'POST', headers: { 'Content-Type': 'application/json' },
          body: JSON.stringify({ building: job.building, name: job.file.name, size: job.file.size, modified: job.file.lastModified, by: who() })
        });
        if (answer.status < 500) {
          var body = await answer.json();
          if (!answer.ok) { throw Object.assign(new Error(body.error), { told: true }); }
          job.id = body.id; job.offset = body.offset;
          show(job, 0);
          return;
        }
      } catch (error) { if (error.told) { throw error; } }
      if (tries > PATIENCE || job.stopped) { throw new Error('The server does not answer.'); }
      say(job, 'the server does not answer, trying again');
      await new Promise(function (go) { window.setTimeout(go, WAIT_MS); });
    }
  }

  function piece(job) {
    return new Promise(function (go) {
      var request = job.request = new XMLHttpRequest();
      request.open('PUT', '/api/uploads/' + job.id);
      request.setRequestHeader('Upload-Offset', String(job.offset));
      request.upload.onprogress = function (e) { show(job, e.loaded); };
      request.onloadend = function () {
        var body = {};
        try { body = JSON.parse(request.responseText); } catch (error) { /* a server that is going down answers in no words */ }
        go({ status: request.status, body: body });
      };
      request.send(job.file.slice(job.offset, job.offset + CHUNK));
    });
  }

  function show(job, sent) {
    var done = Math.min(job.offset + sent, job.file.size);
    job.bar.value = job.file.size ? done / job.file.size : 0;
    say(job, size(done) + ' of ' + size(job.file.size));
  }

  window.addEventListener('beforeunload', function (e) { if (running) { e.preventDefault(); } });
  new MutationObserver(function () {
    var box = document.getElementById('logs-drop');
    if (box) { mount(box); }
  }).observe(document.documentElement, { childList: true, subtree: true });
})();
