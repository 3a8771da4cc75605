// The run as it goes: the one thing to do now, the reading with its limits, and the face.

import {$, el, setText, setWords, show, sign, words} from './dom.js';
import {allowedText, drawBand} from './band.js';
import {drawFace, nodesOf} from './face.js';
import {model, pinStates} from './model.js';
import {outcome} from './words.js';

const kTake = {touch: 'Take', do: 'Done', text: 'Answer'};

export const askNow = () => {
  const ask = model.slots.ask;
  return ask && ask.kind && ask.kind !== 'none' ? ask : null;
};

/// Sign and words for a caution, as a box of its own.
export function cautionBox(text, title = 'Caution') {
  return el('div', {class: 'caution'}, sign('⚠', 'caution-sign'), el('strong', {text: `${title}: `}), words(text));
}

function probeLine(role, probe) {
  const nodes = nodesOf(probe);
  if (!nodes.length && !probe?.name) return null;
  const name = probe.name || (nodes.length > 1 ? `pins ${nodes.join(', ')}` : `pin ${nodes[0]}`);
  return el('p', {class: `probe ${role}`, 'data-role': role, 'data-nodes': nodes.join(' ').slice(0, 200)},
    el('span', {class: `tag ${role}`, 'aria-hidden': 'true'}, el('span', {text: role === 'red' ? 'R' : 'B'})),
    el('strong', {text: role === 'red' ? 'RED ' : 'BLACK '}), words(name));
}

function idleTitle(progress) {
  if (model.slots.state?.phase === 'stopping') return 'Stopping: the bench is being made safe';
  if (!progress?.heading) return 'The bench is at work';
  return progress.subject ? `${progress.heading}: ${progress.subject}` : progress.heading;
}

let drawnAsk = '';

function renderAsk(driving) {
  const ask = askNow();
  const key = JSON.stringify([ask, model.slots.progress, model.slots.state?.phase, driving]);
  if (key === drawnAsk) return;
  drawnAsk = key;
  const box = $('ask');
  box.dataset.kind = ask?.kind ?? 'none';
  box.dataset.ask = ask?.n ?? '';
  setWords($('ask-title'), ask ? ask.title : idleTitle(model.slots.progress));
  setWords($('ask-text'), ask?.text ?? 'Nothing to do by hand. Keep clear of the pack.');
  $('ask-probes').replaceChildren(...[probeLine('red', ask?.red), probeLine('black', ask?.black)].filter(Boolean));
  setWords($('ask-expected'), ask?.expected ? `Expected: ${ask.expected}` : '');
  show($('ask-expected'), Boolean(ask?.expected));
  const caution = ask?.caution || model.slots.ask?.caution;
  show($('ask-caution'), Boolean(caution));
  $('ask-caution').replaceChildren(...(caution ? [cautionBox(caution)] : []));
  const actions = driving && ask ? ask.actions ?? [] : [];
  for (const button of $('ask-actions').querySelectorAll('button')) show(button, actions.includes(button.dataset.act));
  show($('ask-actions'), actions.length > 0);
  setText($('take-word'), kTake[ask?.kind] ?? 'Take');
  renderAnswer(ask, driving);
}

function renderAnswer(ask, driving) {
  const asked = ask?.kind === 'text' && driving;
  const field = $('ask-answer');
  const other = field.dataset.ask !== String(ask?.n);
  show(field, asked);
  if (!asked) return;
  setWords($('answer-label'), ask.question || 'Answer');
  if (!other) return;
  field.dataset.ask = String(ask.n);
  $('answer').value = '';
  $('answer').focus();
}

// What there is to show: the live reading of this question, else the newest one taken.
function readingNow() {
  const {live, ask} = model.slots;
  // Of the lever one looks at its lines, not at the resistance of each.
  if (model.log.run?.work === 'lever' && ask?.kind !== 'touch') return null;
  if (live?.shown && (!ask || live.ask === ask.n))
    return {name: live.result?.title ?? '', shown: live.shown, steady: live.steady, open: live.open, state: live.state, result: live.result, now: true};
  if (askNow() && askNow().kind !== 'look') return null;
  const results = [...model.log.results.values()];
  const result = results.at(-1);
  const reading = model.log.lastReading;
  if (result?.value_text) return {name: result.title, shown: result.value_text, result, state: '', now: false};
  if (reading) return {name: [reading.heading, reading.subject].filter(Boolean).join(': '), shown: reading.text, state: '', result: null, now: false};
  return null;
}

function stateWords(reading) {
  const [shape, kind, text] = !reading.now ? ['◷', '', 'newest reading']
    : reading.steady ? ['●', 'steady', reading.state || 'steady'] : ['◌', 'unsteady', reading.state || 'not steady yet'];
  return el('span', {class: 'with-sign'}, sign(shape, kind), words(text));
}

let drawnLive = '';

function renderLive() {
  const reading = readingNow();
  const key = JSON.stringify(reading);
  if (key === drawnLive) return;
  drawnLive = key;
  const box = $('live');
  show(box, Boolean(reading));
  if (!reading) return;
  box.dataset.steady = String(Boolean(reading.steady));
  box.dataset.outcome = reading.result?.outcome ?? '';
  setWords($('live-name'), reading.name);
  setText($('live-shown'), String(reading.shown).slice(0, 60));
  const length = String(reading.shown).length;
  $('live-shown').classList.toggle('wide', length > 9 && length <= 16);
  $('live-shown').classList.toggle('lengthy', length > 16);
  const judged = reading.result ? outcome(reading.result.outcome) : null;
  $('live-state').replaceChildren(stateWords(reading),
    ...(judged ? [el('span', {class: `chip ${reading.result.outcome}`}, sign(judged.shape), judged.word)] : []));
  const band = drawBand(reading.result);
  $('live-band').replaceChildren(...(band ? [band] : []));
  const limits = reading.result ? allowedText(reading.result) : '';
  setWords($('live-limits'), limits ? `(${limits})` : '');
}

let drawnFace = '';

function renderFace(profile) {
  const probes = askNow() ?? {};
  const asked = {red: nodesOf(probes.red), black: nodesOf(probes.black)};
  const last = model.log.lastReading;
  const next = model.log.run?.work === 'diagnose' ? model.slots.ranking?.next : null;
  if (!askNow() && next) {
    asked.red = nodesOf(next.red);
    asked.black = nodesOf(next.black);
  } else if (!askNow() && last) {
    asked.red = (last.from ?? []).map(String);
    asked.black = (last.to ?? []).map(String);
  }
  const states = pinStates();
  const key = JSON.stringify([profile?.name, asked, [...states]]);
  if (key === drawnFace) return;
  drawnFace = key;
  $('face').replaceChildren(drawFace(profile, {...asked, states}));
}

export function renderNow({profile, driving}) {
  renderAsk(driving);
  renderLive();
  show($('face-side'), Boolean(profile));
  if (profile) renderFace(profile);
}

/// What is read out when something new is asked.
export function askSpoken(ask) {
  const probe = (role, p) => {
    const nodes = nodesOf(p);
    return p?.name || nodes.length ? `${role}: ${p.name || `pin ${nodes.join(', ')}`}` : '';
  };
  return [ask.title, ask.text, probe('red', ask.red), probe('black', ask.black), ask.expected && `expected ${ask.expected}`, ask.question]
    .filter(Boolean).join('. ').slice(0, 800);
}
