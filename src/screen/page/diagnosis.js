// What explains the readings, likeliest first, and what is known besides.

import {$, el, list, setWords, show, svg, words} from './dom.js';
import {model} from './model.js';
import {cautionBox} from './bench.js';

const kMost = 12;

export function percent(probability) {
  const p = 100 * probability;
  if (!Number.isFinite(p)) return '';
  if (p >= 99.95) return p >= 100 ? '100 %' : '> 99.9 %';
  if (p >= 99) return `${p.toFixed(1)} %`;
  if (p >= 10) return `${p.toFixed(0)} %`;
  return p >= 0.1 ? `${p.toFixed(1)} %` : '< 0.1 %';
}

function bar(explanation) {
  const share = Math.min(Math.max(explanation.probability ?? 0, 0), 1);
  const drawn = svg('svg', {class: 'bar', viewBox: '0 0 1000 20', preserveAspectRatio: 'none', 'aria-hidden': 'true'},
    svg('rect', {class: 'rail', x: 0, y: 0, width: 1000, height: 20}),
    svg('rect', {class: 'share', x: 0, y: 0, width: Math.max(1000 * share, 3), height: 20}));
  const pins = [...new Set((explanation.faults ?? []).flatMap((f) => f.pins ?? []))];
  return el('li', {class: 'explanation', 'data-probability': share.toFixed(3)},
    el('p', {}, el('strong', {class: 'percent', text: percent(share)}), words(explanation.name),
      pins.length ? el('span', {class: 'at-pins'}, words(`pin${pins.length > 1 ? 's' : ''} ${pins.join(', ')}`)) : null),
    drawn);
}

function codeBox(code) {
  return el('div', {class: 'code'}, el('strong', {}, words(code.code)), words(code.text, 'p'));
}

function block(title, node) {
  return el('div', {class: 'block'}, el('h3', {text: title}), node);
}

let drawn = '';

export function renderRanking(over) {
  const ranking = model.log.run?.work === 'diagnose' ? model.slots.ranking : null;
  show($('ranking'), Boolean(ranking));
  const key = JSON.stringify([ranking, over]);
  if (!ranking || key === drawn) return;
  drawn = key;
  setWords($('ranking-text'), over ? '' : ranking.text);
  const all = ranking.explanations ?? [];
  $('ranking-bars').replaceChildren(...all.slice(0, kMost).map(bar),
    ...(all.length > kMost ? [el('li', {class: 'hint', text: `and ${all.length - kMost} less likely ones`})] : []));
  const parts = [];
  if (ranking.next?.text && !ranking.done) parts.push(block('Next probe', words([ranking.next.text, ranking.next.condition].filter(Boolean).join('; '), 'p')));
  if (ranking.codes?.length) parts.push(block('Trouble codes, and what they mean now', el('div', {}, ...ranking.codes.map(codeBox))));
  if (ranking.exonerated?.length) parts.push(block('Cleared', list(ranking.exonerated, (text) => words(text))));
  if (ranking.remarks?.length) parts.push(block('Remarks', list(ranking.remarks, (text) => words(text))));
  if (ranking.cautions?.length && !over) parts.push(...ranking.cautions.map((text) => cautionBox(text)));
  $('ranking-more').replaceChildren(...parts);
}

/// Pins of the likeliest explanation.
export const suspects = () => (model.slots.ranking?.explanations?.[0]?.faults ?? []).flatMap((f) => (f.pins ?? []).map(String));
