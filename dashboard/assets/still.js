/* Builds what only says something; `dashboard/components/still.py` says why, and which elements and attributes there are. */
(function () {
  'use strict';
  /* Elements → what was built inside, and of what. React knows nothing of it, and may put components of its own beside it later. */
  const built = new WeakMap();

  function build(nodes) {
    return nodes.map(node => {
      if (typeof node === 'string') { return document.createTextNode(node); }
      const [tag, attributes, inner] = node, made = document.createElement(tag);
      for (const [name, value] of Object.entries(attributes)) {
        if (name === 'style') { for (const [key, said] of Object.entries(value)) { made.style.setProperty(key, said); } } else { made.setAttribute(name, value); }
      }
      made.append(...build(inner));
      return made;
    });
  }
  function draw(place) {
    const text = place.getAttribute('data-still'), before = built.get(place);
    if (before && before.text === text) { return; }
    if (before) { before.nodes.forEach(node => node.remove()); built.delete(place); }
    if (text === null) { return; }
    const nodes = build(JSON.parse(text));
    built.set(place, {text, nodes});
    place.append(...nodes);
  }
  function look(node) {
    // A figure is thousands of elements, none of them ours.
    if (!(node instanceof HTMLElement)) { return; }
    if (node.hasAttribute('data-still')) { draw(node); }
    node.querySelectorAll('[data-still]').forEach(draw);
  }
  new MutationObserver(seen => {
    for (const change of seen) { if (change.type === 'attributes') { draw(change.target); } else { change.addedNodes.forEach(look); } }
  }).observe(document.documentElement, {subtree: true, childList: true, attributes: true, attributeFilter: ['data-still']});
})();
