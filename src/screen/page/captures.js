// The newest capture, or the one chosen; earlier ones as small pictures to press.

import {$, el, setWords, show} from './dom.js';
import {model} from './model.js';
import {drawCapture, drawThumb, nameOf} from './plots.js';

let chosen = null;     // null: the newest
let seen = null;       // captures of which run
let drawn = '';
let thumbs = 0;

function choose(k) {
  chosen = k === model.log.captures.length - 1 ? null : k;
  drawn = '';
  renderCaptures();
}

function thumb(capture, k) {
  const button = el('button', {type: 'button', class: 'thumb-button', 'data-coil': (capture.coils ?? []).join(' ')},
    drawThumb(capture), el('span', {class: 'thumb-name', text: nameOf(capture).slice(0, 24)}));
  button.addEventListener('click', () => choose(k));
  return button;
}

function renderThumbs(at) {
  const all = model.log.captures;
  const box = $('capture-thumbs');
  if (thumbs > all.length || box.childElementCount > all.length) {
    box.replaceChildren();
    thumbs = 0;
  }
  for (; thumbs < all.length; thumbs++) box.append(thumb(all[thumbs], thumbs));
  [...box.children].forEach((node, k) => node.setAttribute('aria-pressed', String(k === at)));
  show(box, all.length > 1);
}

export function renderCaptures() {
  const all = model.log.captures;
  if (all !== seen) {
    seen = all;
    chosen = null;
    drawn = '';
    thumbs = 0;
    $('capture-thumbs').replaceChildren();
  }
  show($('captures'), all.length > 0);
  if (!all.length) return;
  const at = Math.min(chosen ?? all.length - 1, all.length - 1);
  const capture = all[at];
  const width = Math.max(Math.round($('capture-plot').clientWidth), 260);
  const key = JSON.stringify([all.length, at, width, capture.text, capture.marks.length]);
  if (key === drawn) return;
  drawn = key;
  setWords($('captures-name'), `Capture: ${nameOf(capture)}`);
  setWords($('capture-text'), capture.text);
  $('capture-plot').replaceChildren(drawCapture(capture, width, Math.max(260, Math.min(width * 0.62, window.innerHeight * 0.5))));
  renderThumbs(at);
}

export function watchCaptures() {
  new ResizeObserver(() => renderCaptures()).observe($('capture-plot'));
  $('capture-thumbs').addEventListener('keydown', (event) => {
    const way = {ArrowLeft: -1, ArrowRight: 1}[event.key];
    const all = [...$('capture-thumbs').children];
    const at = all.indexOf(document.activeElement);
    if (!way || at < 0 || !all[at + way]) return;
    event.preventDefault();
    all[at + way].focus();
    choose(at + way);
  });
}
