// How a run ended, over the whole view, until the next scan or start.

import {$, el, link, list, setText, setWords, show, sign, words} from './dom.js';
import {ending, model} from './model.js';
import {cautionBox} from './bench.js';
import {findingBox} from './checks.js';
import {suspects} from './diagnosis.js';
import {drawFace} from './face.js';
import {kVerdicts} from './words.js';

const kFaults = {
  aborted: {shape: '■', word: 'STOPPED', kind: 'stopped'},
  bench: {shape: '⚡', word: 'BENCH FAULT', kind: 'failed'},
  usage: {shape: '✖', word: 'NOT DONE', kind: 'failed'},
};
const kFound = {
  good: {shape: '✔', word: 'NO FAULT FOUND', kind: 'accept'},
  fault: {shape: '✖', word: 'FAULT FOUND', kind: 'reject'},
  open: {shape: '▲', word: 'NOT SETTLED', kind: 'hold'},
};

const called = (verdict) => ({...(kVerdicts[verdict] ?? {shape: '?', word: String(verdict).toUpperCase()}), kind: verdict});

function ofVerdict() {
  const v = model.log.verdict;
  return {...called(v.verdict), level: v.level, why: v.why, serial: v.serial, lot: v.lot, findings: v.findings ?? [],
    notes: [['Not tested', v.not_tested]], cautions: v.cautions ?? [],
    counted: Number.isFinite(v.passed) ? `${v.passed} of ${v.of} required checks passed.` : '',
    links: [link(v.report, 'Report', 'report-link'), link(v.label, 'Label', 'label-link')],
    unkept: v.record === '' ? 'No record of it was kept.' : ''};
}

function ofLever() {
  const l = model.log.lever;
  return {...called(l.verdict), level: model.log.run?.level ?? 'static', why: l.why, findings: [],
    notes: [['What explains it', l.explanations], ['Not tested', l.not_tested]], cautions: [], links: [], counted: ''};
}

function ofFailure() {
  const f = model.log.failed;
  const named = kFaults[f.fault] ?? {shape: '✖', word: 'NOT DONE', kind: 'failed'};
  const end = {...named, level: '', why: f.what, findings: [...model.log.findings.values()], notes: [], cautions: [], links: [], counted: 'There is no verdict.'};
  // Whoever stops what hangs wants to know where it hung.
  return f.fault === 'aborted' ? {...end, why: 'Stopped by hand.', notes: [['It stood at', f.what === 'stopped' ? [] : [f.what]]]} : end;
}

function ofDiagnosis() {
  const r = model.slots.ranking ?? {};
  return {...(kFound[r.outcome] ?? kFound.open), level: '', why: r.text || model.log.finished?.why || '', findings: [],
    notes: [], cautions: r.cautions ?? [], links: [], counted: '', suspects: suspects()};
}

const kEndings = {verdict: ofVerdict, lever: ofLever, failed: ofFailure, diagnosis: ofDiagnosis};

/// null while the run has not ended.
export function endNow() {
  const kind = ending();
  if (!kind) return null;
  const end = kEndings[kind]();
  const run = model.log.run ?? {};
  return {...end, ending: kind, serial: end.serial ?? run.serial ?? '', lot: end.lot ?? run.lot ?? ''};
}

export const endSpoken = (end) => [end.word, end.level && `level ${end.level}`, end.serial && `serial ${end.serial}`, end.why]
  .filter(Boolean).join('. ').slice(0, 600);

function crossed(end) {
  const pins = new Map();
  for (const finding of end.findings) for (const pin of finding.pins ?? []) pins.set(String(pin), 'fail');
  for (const pin of end.suspects ?? []) pins.set(pin, end.kind === 'accept' ? 'pass' : 'fail');
  return pins;
}

function more(end) {
  const blocks = end.notes.filter(([, items]) => items?.length)
    .map(([title, items]) => el('div', {class: 'block'}, el('h3', {text: title}), list(items, (text) => words(text))));
  const cautions = end.cautions.length
    ? [el('div', {class: 'block cautions'}, el('h3', {text: 'Cautions'}), ...end.cautions.map((text) => cautionBox(text)))] : [];
  return [...cautions, ...blocks];
}

function head(end) {
  $('verdict').dataset.verdict = end.kind;
  $('verdict').dataset.ending = end.ending;
  $('verdict-word').replaceChildren(sign(end.shape, 'verdict-shape'), ` ${end.word}`);
  setText($('verdict-level'), end.level ? `level ${end.level}` : '');
  show($('verdict-level'), Boolean(end.level));
  $('verdict-serial').replaceChildren(...(end.serial ? [el('span', {class: 'serial-name', text: 'Serial '}), words(end.serial, 'strong', 'serial')] : []),
    ...(end.lot ? [el('span', {class: 'serial-name', text: ' · Lot '}), words(end.lot, 'span', 'lot')] : []));
  setWords($('verdict-why'), end.why);
  setText($('verdict-count'), [end.counted, end.unkept].filter(Boolean).join(' '));
  $('verdict-links').replaceChildren(...end.links.filter(Boolean));
}

let drawn = '';

export function renderVerdict(end, profile) {
  const key = JSON.stringify([end && {...end, links: end.links.length}, profile?.name]);
  if (!end || key === drawn) return;
  drawn = key;
  head(end);
  const pins = crossed(end);
  show($('verdict-face'), pins.size > 0 && Boolean(profile));
  $('verdict-face').replaceChildren(...(pins.size && profile ? [drawFace(profile, {states: pins})] : []));
  $('verdict-findings').replaceChildren(...end.findings.map(findingBox));
  show($('verdict-findings'), end.findings.length > 0);
  $('verdict-more').replaceChildren(...more(end));
}
