// Building elements. Text is only ever set as text, so a name may hold anything.

const kSvg = 'http://www.w3.org/2000/svg';
const kLong = 160;     // characters from which a text gets a "more" button
const kTitle = 2000;   // of a tooltip

export const $ = (id) => document.getElementById(id);

function put(node, attributes, children) {
  for (const [key, value] of Object.entries(attributes ?? {})) {
    if (value === undefined || value === null || value === false) continue;
    if (key === 'text') node.textContent = value;
    else if (key.startsWith('on')) node.addEventListener(key.slice(2), value);
    else node.setAttribute(key, value === true ? '' : String(value));
  }
  node.append(...children.filter((c) => c !== null && c !== undefined));
  return node;
}

export const el = (tag, attributes, ...children) =>
  put(document.createElement(tag), attributes, children);

export const svg = (tag, attributes, ...children) =>
  put(document.createElementNS(kSvg, tag), attributes, children);

/// Changes nothing where the text is there already: screen readers and selections stay calm.
export function setText(node, text) {
  const wanted = text ?? '';
  if (node.textContent !== wanted) node.textContent = wanted;
}

export function show(node, shown) {
  if (node.hidden === shown) node.hidden = !shown;
}

/// A sign that is drawn by a letter or shape; the word beside it says the same.
export const sign = (shape, kind) => el('span', {class: `sign ${kind ?? ''}`, 'aria-hidden': 'true', text: shape});

/// A text from outside, of any length and direction: isolated, broken anywhere, clamped to a few
/// lines. For inside of buttons and headings that are pressed.
export function brief(text, tag = 'span', kind = '') {
  const value = String(text ?? '');
  const box = el(tag, {class: `words ${kind}`}, el('bdi', {text: value}));
  if (value.length <= kLong) return box;
  box.classList.add('clamp');
  box.title = value.slice(0, kTitle);
  return box;
}

/// The same, with a button that shows all of it.
export function words(text, tag = 'span', kind = '') {
  const box = brief(text, tag, kind);
  if (!box.classList.contains('clamp')) return box;
  const more = el('button', {type: 'button', class: 'more', 'aria-expanded': 'false', text: 'Show all'});
  more.addEventListener('click', () => {
    const open = box.classList.toggle('open');
    more.setAttribute('aria-expanded', String(open));
    more.textContent = open ? 'Show less' : 'Show all';
  });
  const around = el(tag === 'span' ? 'span' : 'div', {class: 'long'});
  around.append(box, more);
  return around;
}

/// Fills `node` with `words`, only where the text is another one.
export function setWords(node, text) {
  const value = String(text ?? '');
  if (node.dataset.said === value) return;
  node.dataset.said = value;
  if (value) node.replaceChildren(words(value));
  else node.replaceChildren();
}

export function list(items, make, attributes) {
  return el('ul', attributes, ...items.map((item) => el('li', {}, make(item))));
}

/// Only addresses of this server become links.
export function link(address, text, id) {
  if (typeof address !== 'string' || !/^\/[^/\\]/.test(address)) return null;
  return el('a', {href: address, class: 'button', id, text, target: '_blank', rel: 'noopener'});
}

/// What a browser remembers may be forbidden; then it lasts as long as the page.
function remembered(area) {
  const held = new Map();
  return {
    get(key) {
      try {
        return area().getItem(`pinproof.${key}`) ?? held.get(key) ?? null;
      } catch {
        return held.get(key) ?? null;
      }
    },
    set(key, value) {
      try {
        if (value === null) area().removeItem(`pinproof.${key}`);
        else area().setItem(`pinproof.${key}`, value);
      } catch {
        /* held below */
      }
      if (value === null) held.delete(key);
      else held.set(key, value);
    },
  };
}

export const forSession = remembered(() => window.sessionStorage);
export const forever = remembered(() => window.localStorage);
