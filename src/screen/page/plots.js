// A capture as two curves over one time axis: the current above, the voltage below.

import {svg} from './dom.js';

const kFont = 16;

function niceStep(span, wanted) {
  const raw = span / wanted;
  const power = 10 ** Math.floor(Math.log10(raw));
  return [1, 2, 5, 10].map((m) => m * power).find((s) => s >= raw * 0.999);
}

function extent(values) {
  let low = Infinity;
  let high = -Infinity;
  for (const v of values) {
    if (!Number.isFinite(v)) continue;
    if (v < low) low = v;
    if (v > high) high = v;
  }
  if (low > high) return [0, 1];
  if (high - low < 1e-12) return [low - 0.5, high + 0.5];
  return [low, high];
}

const tickText = (value, step) =>
  value.toFixed(Math.min(Math.max(0, Math.ceil(-Math.log10(step) - 1e-9)), 6)).replace(/^-0(\.0+)?$/, '0');

function axis(from, to, at0, at1) {
  return (v) => at0 + ((v - from) / (to - from)) * (at1 - at0);
}

function curve(xs, ys, ax, ay, kind) {
  const points = [];
  const n = Math.min(xs.length, ys.length);
  for (let k = 0; k < n; k++)
    if (Number.isFinite(xs[k]) && Number.isFinite(ys[k])) points.push(`${ax(xs[k]).toFixed(1)},${ay(ys[k]).toFixed(1)}`);
  return svg('polyline', {class: kind, points: points.join(' ')});
}

function pane(root, box, t, values, name, kind) {
  let [low, high] = extent(values);
  low = Math.min(low, 0);
  const room = (high - low) * 0.08 || 1;
  const ay = axis(low - room, high + room, box.bottom, box.top);
  const step = niceStep(high - low + 2 * room, Math.max(2, (box.bottom - box.top) / 45));
  for (let v = Math.ceil((low - room) / step) * step; v <= high + room; v += step) {
    root.append(svg('line', {class: 'grid', x1: box.left, x2: box.right, y1: ay(v), y2: ay(v)}));
    root.append(svg('text', {class: 'tick', x: box.left - 8, y: ay(v) + 5, 'text-anchor': 'end', text: tickText(v, step)}));
  }
  root.append(svg('text', {class: `pane ${kind}`, x: box.left, y: box.top - 8, text: name}));
  root.append(curve(t, values, box.ax, ay, kind));
  return ay;
}

function times(root, box, from, to) {
  const step = niceStep(to - from, Math.max(3, (box.right - box.left) / 90));
  for (let v = Math.ceil(from / step) * step; v <= to + 1e-9; v += step) {
    root.append(svg('line', {class: 'grid', x1: box.ax(v), x2: box.ax(v), y1: box.top, y2: box.bottom}));
    root.append(svg('text', {class: 'tick', x: box.ax(v), y: box.bottom + 20, 'text-anchor': 'middle', text: tickText(v, step)}));
  }
  root.append(svg('text', {class: 'tick', x: box.right, y: box.bottom + 40, 'text-anchor': 'end', text: 'time in ms'}));
}

// Names of marks close together go on lines of their own.
function marks(root, box, list, ay) {
  const ends = [];
  for (const mark of [...list].sort((a, b) => a.at_ms - b.at_ms)) {
    if (!Number.isFinite(mark.at_ms)) continue;
    const x = box.ax(mark.at_ms);
    const name = String(mark.name ?? '').slice(0, 30);
    const wide = name.length * kFont * 0.58 + 10;
    const left = x + wide > box.right ? x - wide : x + 4;
    let row = ends.findIndex((end) => end < left);
    if (row < 0) row = ends.length;
    ends[row] = left + wide;
    root.append(svg('line', {class: 'mark', x1: x, x2: x, y1: box.top, y2: box.bottom}));
    if (Number.isFinite(mark.current_A)) root.append(svg('circle', {class: 'mark-dot', cx: x, cy: ay(mark.current_A), r: 5}));
    root.append(svg('text', {class: 'mark-name', x: left, y: box.marks + row * 19, text: name}));
  }
}

export const nameOf = (capture) => {
  const coils = (capture.coils ?? []).join(', ');
  return coils ? `coil${(capture.coils ?? []).length > 1 ? 's' : ''} ${coils}` : String(capture.subject ?? 'capture');
};

/// `width` in CSS pixels: letters keep their size.
export function drawCapture(capture, width, height) {
  const t = capture.t_ms ?? [];
  const [from, to] = extent(t);
  const rows = Math.min(3, (capture.marks ?? []).length);
  const top = 30 + rows * 19;
  const floor = height - 46;
  const split = top + (floor - top) * 0.62;
  const box = {left: 58, right: width - 14};
  box.ax = axis(from, to, box.left, box.right);
  const root = svg('svg', {class: 'capture', viewBox: `0 0 ${width} ${height}`, role: 'img', 'aria-label': `Capture of ${nameOf(capture)}: ${capture.text || 'current above, voltage below'}`.slice(0, 400)});
  times(root, {...box, top, bottom: floor}, from, to);
  const ay = pane(root, {...box, top, bottom: split - 16}, t, capture.current_A ?? [], 'current in A', 'current');
  pane(root, {...box, top: split + 16, bottom: floor}, t, capture.voltage_V ?? [], 'voltage in V', 'voltage');
  marks(root, {...box, top, bottom: split - 16, marks: 18}, capture.marks ?? [], ay);
  return root;
}

export function drawThumb(capture) {
  const t = capture.t_ms ?? [];
  const i = capture.current_A ?? [];
  const [from, to] = extent(t);
  const [low, high] = extent(i);
  const root = svg('svg', {class: 'thumb', viewBox: '0 0 120 60', 'aria-hidden': 'true'});
  root.append(curve(t, i, axis(from, to, 4, 116), axis(low, high, 55, 5), 'current'));
  return root;
}
