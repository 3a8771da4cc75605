// The connector's face, seen into the pack's connector. Where the probes go is told by shape and
// letter: red is a square with R, black a diamond with B.

import {svg} from './dom.js';

const kStep = 64;    // from pin to pin
const kRadius = 21;
const kTop = 34;     // room for the flags
const kShort = 5;    // characters of a pin's number that fit

export const nodesOf = (probe) => {
  if (!probe) return [];
  if (Array.isArray(probe.nodes)) return probe.nodes.map(String);
  return probe.node ? [String(probe.node)] : [];
};

const brief = (text) => (text.length > kShort ? `${text.slice(0, kShort - 1)}…` : text);

function flag(role, x, y) {
  const g = svg('g', {class: `flag ${role}`});
  if (role === 'red') g.append(svg('rect', {x: x - 15, y: y - 15, width: 30, height: 30, rx: 2}));
  else g.append(svg('path', {d: `M${x} ${y - 20}L${x + 20} ${y}L${x} ${y + 20}L${x - 20} ${y}Z`}));
  g.append(svg('text', {x, y: y + 7, 'text-anchor': 'middle', text: role === 'red' ? 'R' : 'B'}));
  return g;
}

function ring(role, x, y, w, h) {
  if (role === 'red')
    return svg('rect', {class: 'ring red', x: x - w, y: y - h, width: 2 * w, height: 2 * h});
  if (w > kRadius * 2)
    return svg('rect', {class: 'ring black', x: x - w, y: y - h, width: 2 * w, height: 2 * h, rx: h});
  return svg('path', {class: 'ring black', d: `M${x} ${y - h - 10}L${x + w + 10} ${y}L${x} ${y + h + 10}L${x - w - 10} ${y}Z`});
}

function stateSign(state, x, y, w) {
  if (state === 'fail') return svg('path', {class: 'cross', d: `M${x - w} ${y - 18}L${x + w} ${y + 18}M${x + w} ${y - 18}L${x - w} ${y + 18}`});
  if (state === 'pass') return svg('path', {class: 'tick', d: `M${x + w - 9} ${y + 14}l6 7l11 -16`});
  if (state) return svg('path', {class: 'doubt', d: `M${x + w + 2} ${y + 4}l9 16h-18Z`});
  return null;
}

function contact(pin, x, y, role, state, across) {
  const w = across ?? kRadius;
  const g = svg('g', {class: `pin ${state ?? ''} ${role ? `lit ${role}` : ''}`, 'data-pin': pin.number});
  g.append(svg('title', {text: [pin.number, pin.signal, pin.colour].filter(Boolean).join(', ').slice(0, 300)}));
  if (role) g.append(ring(role, x, y, w + 6, kRadius + 6));
  g.append(across
    ? svg('rect', {class: 'body', x: x - w, y: y - kRadius, width: 2 * w, height: 2 * kRadius, rx: 8})
    : svg('circle', {class: 'body', cx: x, cy: y, r: kRadius}));
  const mark = stateSign(state, across ? x + w - 40 : x, y, across ? 24 : w - 3);
  if (mark) g.append(mark);
  const text = brief(pin.number);
  g.append(svg('text', {class: `number n${Math.min(text.length, 5)}`, x, y: y + 8, 'text-anchor': 'middle', text: across ? 'case' : text}));
  if (role) g.append(flag(role, across ? x - w + 26 : x, across ? y : y - kRadius - 14));
  return g;
}

function spoken(red, black, states) {
  const parts = [];
  if (red.length) parts.push(`red probe on ${red.join(', ')}`);
  if (black.length) parts.push(`black probe on ${black.join(', ')}`);
  const failed = [...states].filter(([, s]) => s === 'fail').map(([pin]) => pin);
  if (failed.length) parts.push(`failing: ${failed.join(', ')}`);
  return `Connector face, looking into the pack's connector${parts.length ? `: ${parts.join('; ')}` : ''}`.slice(0, 600);
}

/// `profile` as the server tells it; `red` and `black` are lists of nodes, `states` pin -> outcome.
export function drawFace(profile, {red = [], black = [], states = new Map()} = {}) {
  const face = profile?.face ?? [];
  const pins = new Map((profile?.pins ?? []).map((pin) => [String(pin.number), pin]));
  const most = Math.max(3, ...face.map((row) => row.length));
  const width = most * kStep + 40;
  const height = kTop + face.length * (kStep + 14) + 66;
  const root = svg('svg', {class: 'face', viewBox: `0 0 ${width} ${height}`, role: 'img', 'aria-label': spoken(red, black, states)});
  root.append(svg('rect', {class: 'shell', x: 3, y: 3, width: width - 6, height: height - 6, rx: 22}));
  const roleOf = (node) => (red.includes(node) ? 'red' : black.includes(node) ? 'black' : '');
  const late = [];  // lit ones last, so that no neighbour covers a flag
  const place = (g, lit) => (lit ? late.push(g) : root.append(g));
  face.forEach((row, r) => {
    const x0 = (width - (row.length - 1) * kStep) / 2;
    row.forEach((cell, k) => {
      if (cell === '') return;
      const number = String(cell);
      const pin = {...pins.get(number), number};
      place(contact(pin, x0 + k * kStep, kTop + 26 + r * (kStep + 14), roleOf(number), states.get(number)), roleOf(number));
    });
  });
  const body = contact({number: 'case', signal: 'metal body'}, width / 2, height - 38, roleOf('case'), states.get('case'), width / 2 - 30);
  place(body, roleOf('case'));
  root.append(...late);
  return root;
}
