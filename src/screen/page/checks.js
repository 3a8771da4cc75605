// What was checked, grouped by heading, with counts; and what is known to be wrong so far.

import {$, brief, el, list, show, sign, words} from './dom.js';
import {model} from './model.js';
import {kOutcomes, outcome} from './words.js';

let drawn = null;       // the results that the list was built for
const rows = new Map();
const groups = new Map();

function count(results) {
  const counts = new Map(Object.keys(kOutcomes).map((name) => [name, 0]));
  for (const result of results) counts.set(result.outcome, (counts.get(result.outcome) ?? 0) + 1);
  return counts;
}

function chips(counts) {
  return [...counts].filter(([, n]) => n > 0)
    .map(([name, n]) => el('span', {class: `chip ${name}`, 'data-outcome': name}, sign(outcome(name).shape), `${n} ${outcome(name).many}`));
}

function group(heading) {
  if (groups.has(heading)) return groups.get(heading);
  const name = el('span', {class: 'group-name'}, brief(heading || 'Checks'));
  const counts = el('span', {class: 'chips'});
  const items = el('ul', {class: 'results'});
  const box = el('details', {'data-heading': heading.slice(0, 80)}, el('summary', {}, name, counts), items);
  const made = {box, counts, items, results: new Map()};
  groups.set(heading, made);
  $('checks-list').append(box);
  return made;
}

function row(result) {
  const {shape, word} = outcome(result.outcome);
  return el('li', {class: `result ${result.outcome}`, 'data-outcome': result.outcome, 'data-check': result.check},
    el('span', {class: `chip ${result.outcome}`}, sign(shape), word),
    el('span', {class: 'result-title'}, words(result.title)),
    el('span', {class: 'result-text'}, words(result.text)));
}

function place(key, result) {
  const before = rows.get(key);
  if (before?.result === result) return;
  if (before && JSON.stringify(before.result) === JSON.stringify(result)) {
    before.result = result;  // said again
    return;
  }
  const into = group(result.heading ?? '');
  const item = row(result);
  if (before) before.item.replaceWith(item);
  else into.items.append(item);
  rows.set(key, {result, item});
  into.results.set(key, result);
  into.counts.replaceChildren(...chips(count(into.results.values())));
  if (['fail', 'undecided', 'bench-fault'].includes(result.outcome)) into.box.open = true;
}

export function renderChecks() {
  const {results} = model.log;
  if (results !== drawn) {
    drawn = results;
    rows.clear();
    groups.clear();
    $('checks-list').replaceChildren();
  }
  for (const [key, result] of results) place(key, result);
  show($('checks'), results.size > 0);
  $('checks-count').replaceChildren(...chips(count(results.values())));
}

/// One finding in plain words: what, why it is believed, what to do next.
export function findingBox(finding) {
  const pins = (finding.pins ?? []).map(String);
  return el('article', {class: 'finding', 'data-kind': finding.kind},
    el('h3', {class: 'with-sign'}, sign('✖', 'bad'), words(finding.text)),
    pins.length ? el('p', {class: 'finding-pins'}, words(`${pins.length > 1 ? 'Pins' : 'Pin'} ${pins.join(', ')}`)) : null,
    finding.next ? el('p', {class: 'finding-next'}, el('strong', {text: 'Next: '}), words(finding.next)) : null,
    finding.evidence?.length ? el('details', {}, el('summary', {text: 'Evidence'}), list(finding.evidence, (text) => words(text))) : null);
}

let drawnFindings = '';

export function renderFindings(shown) {
  const found = [...model.log.findings.values()];
  show($('findings'), shown && found.length > 0);
  const key = JSON.stringify(found);
  if (key === drawnFindings) return;
  drawnFindings = key;
  $('findings-list').replaceChildren(...found.map(findingBox));
}

let drawnTold = '';

export function renderTold() {
  const {told, said, trouble, skipped} = model.log;
  const lines = [...trouble.map((text) => `The bench failed: ${text}`), ...told, ...said,
    ...skipped.map((s) => `Skipped: ${[s.heading, s.subject].filter(Boolean).join(', ')}: ${s.reason}`)];
  show($('told'), lines.length > 0);
  const key = JSON.stringify(lines);
  if (key === drawnTold) return;
  drawnTold = key;
  $('told-list').replaceChildren(...lines.slice(-80).reverse().map((text) => el('li', {}, words(text))));
}
