// A reading against its limits: what is allowed, the hatched guard bands in which nothing is
// decided, the uncertainty as a bar and the reading as a pointer.

import {svg} from './dom.js';

const kWidth = 1000;
const kLeft = 20;
const kBar = {top: 46, height: 40};
let made = 0;

const number = (value) => (typeof value === 'number' && Number.isFinite(value) ? value : null);

// From where to where is drawn: the limits with as much again around them.
function domain(low, high, value, guard) {
  if (low !== null && high !== null) {
    const span = Math.max(high - low, Math.abs(high) * 1e-6, 1e-30);
    const side = 0.45 * span;
    const near = value !== null && value > low - 2 * span && value < high + 2 * span;
    return near ? [Math.min(low - side, value - 0.15 * span), Math.max(high + side, value + 0.15 * span)] : [low - side, high + side];
  }
  const limit = low ?? high;
  const reach = Math.max(Math.abs(limit), guard, 1e-30);
  const near = value !== null && Math.abs(value - limit) < 1.2 * reach ? Math.abs(value - limit) : 0;
  const half = Math.max(near * 1.15, reach * 0.8, guard * 3);
  return [limit - half, limit + half];
}

function hatch(id) {
  return svg('defs', {}, svg('pattern', {id, width: 12, height: 12, patternUnits: 'userSpaceOnUse', patternTransform: 'rotate(45)'},
    svg('rect', {class: 'hatch-under', width: 12, height: 12}), svg('rect', {class: 'hatch', width: 5, height: 12})));
}

function edge(root, x, text, anchor) {
  root.append(svg('line', {class: 'limit', x1: x, x2: x, y1: kBar.top - 8, y2: kBar.top + kBar.height + 8}));
  root.append(svg('text', {class: 'limit-text', x, y: kBar.top + kBar.height + 40, 'text-anchor': anchor, text: String(text ?? '').slice(0, 24)}));
}

function pointer(root, at, x, u2, beyond) {
  const y = kBar.top + kBar.height / 2;
  if (u2 > 0 && !beyond) {
    const a = Math.max(at(0, -u2), 2);
    const b = Math.min(at(0, u2), kWidth - 2);
    root.append(svg('path', {class: 'spread', d: `M${a} ${y}H${b}M${a} ${y - 12}V${y + 12}M${b} ${y - 12}V${y + 12}`}));
  }
  if (beyond) {
    const way = beyond === 'above' ? 1 : -1;
    const tip = beyond === 'above' ? kWidth - 4 : 4;
    root.append(svg('path', {class: 'pointer', d: `M${tip} ${y}l${-way * 34} -22v44Z`}));
    return;
  }
  root.append(svg('path', {class: 'pointer', d: `M${x} ${kBar.top - 2}l-20 -34h40Z`}));
  root.append(svg('line', {class: 'needle', x1: x, x2: x, y1: kBar.top - 4, y2: kBar.top + kBar.height + 4}));
}

function allowed(result) {
  const {low_text: low, high_text: high} = result;
  if (low && high) return `${low} to ${high} allowed`;
  if (low) return `at least ${low}`;
  return high ? `at most ${high}` : '';
}
export const allowedText = allowed;

/// null where the result has no limits to draw.
export function drawBand(result) {
  const low = number(result?.low);
  const high = number(result?.high);
  if (low === null && high === null) return null;
  const guard = Math.max(number(result.guard) ?? 0, 0);
  const value = number(result.value);
  const [from, to] = domain(low, high, value, guard);
  const x = (v) => kLeft + ((v - from) / (to - from)) * (kWidth - 2 * kLeft);
  const clip = (v) => Math.min(Math.max(v, 0), kWidth);
  const a = low === null ? 0 : x(low);
  const b = high === null ? kWidth : x(high);
  const said = `Limits: ${allowed(result)}; reading ${result.value_text ?? 'open'}; ${result.outcome}`;
  const root = svg('svg', {class: `band ${result.outcome}`, viewBox: `0 0 ${kWidth} 132`, role: 'img', 'aria-label': said.slice(0, 400)});
  const id = `hatch${++made}`;
  root.append(hatch(id));
  root.append(svg('rect', {class: 'rail', x: 0, y: kBar.top, width: kWidth, height: kBar.height}));
  root.append(svg('rect', {class: 'within', x: a, y: kBar.top, width: Math.max(b - a, 0), height: kBar.height}));
  for (const limit of [low, high].filter((v) => v !== null)) {
    const g0 = clip(x(limit - guard));
    const g1 = clip(x(limit + guard));
    if (guard > 0) root.append(svg('rect', {x: g0, y: kBar.top, width: Math.max(g1 - g0, 6), height: kBar.height, fill: `url(#${id})`}));
  }
  if (low !== null) edge(root, a, result.low_text, 'middle');
  if (high !== null) edge(root, b, result.high_text, 'middle');
  if (value === null) {
    // An open circuit has no number; it lies above everything.
    if (result.text?.startsWith('open')) pointer(root, null, 0, 0, 'above');
    return root;
  }
  const beyond = value > to ? 'above' : value < from ? 'below' : '';
  pointer(root, (_, d) => x(value + d), x(value), number(result.u2) ?? 0, beyond);
  return root;
}
