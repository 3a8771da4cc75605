// The live page: messages change the model, the model is drawn once a frame.

import {$, el, forSession, show, sign, words} from './dom.js';
import {act, asked, closeDialogs, staleDialogs, start, stop, watchActions} from './actions.js';
import {askNow, askSpoken, renderNow} from './bench.js';
import {renderCaptures, watchCaptures} from './captures.js';
import {renderChecks, renderFindings, renderTold} from './checks.js';
import {renderRanking} from './diagnosis.js';
import {driving, failure, free, linked, notice, polite, renderHeader, urgent, watchSwitches} from './header.js';
import {watchKeys} from './keys.js';
import {hazards, renderLever} from './lever.js';
import {apply, busy, model} from './model.js';
import {onRight, profile} from './net.js';
import {watchScanner} from './scanner.js';
import {clearForNext, renderSetup, setSerial, watchSetup} from './setup.js';
import {play} from './sounds.js';
import {fresh, listen} from './stream.js';
import {endNow, endSpoken, renderVerdict} from './verdict.js';

let pack = null;          // profile of the run
let packName = '';
let waiting = false;
let dismissed = forSession.get('dismissed');
let before = {ask: null, steady: false, end: '', hazard: '', caution: ''};

// A run that fails before it begins, on a bench that cannot be opened, has no number: what tells it is
// the id of that message.
const runKey = () => {
  const {run, failed} = model.log;
  return run ? `${run.run}/${run.started_at}` : failed?.id ?? '';
};

async function loadPack() {
  const name = model.log.run?.profile ?? '';
  if (name === packName) return;
  packName = name;
  pack = null;
  pack = await profile(name);
  later();
}

function renderHazard(shown) {
  const list = shown ? hazards() : [];
  const key = JSON.stringify(list);
  if (key === before.hazard) return;
  before.hazard = key;
  $('hazard').replaceChildren(...(list.length ? [
    el('p', {class: 'hazard-head'}, sign('⚠'), ' DANGER: could start in gear or drive off the wrong way'),
    el('ul', {}, ...list.map((text) => el('li', {}, words(text)))),
    el('p', {text: 'Somebody can be run over. Do not fit it. Chock the wheels and keep the starter disconnected.'})] : []));
  if (list.length && fresh()) play('hazard');
}

// What has changed since the last frame and is worth saying or sounding.
function speak(end) {
  const ask = askNow();
  if (ask && ask.n !== before.ask) {
    asked();
    polite(askSpoken(ask));
    if (fresh()) window.scrollTo(0, 0);  // hands on the pack do not scroll
    if (ask.caution) urgent(`Caution: ${ask.caution}`.slice(0, 600));
  }
  const live = model.slots.live;
  const steady = Boolean(live?.steady) && (!ask || live.ask === ask.n);
  if (steady && !before.steady && ask?.n === before.ask) polite(`${live.shown}, ${live.state || 'steady'}`.slice(0, 200));
  const ended = end ? `${runKey()}/${end.ending}/${end.kind}` : '';
  if (end && ended !== before.end) {
    if (end.kind === 'failed') urgent(endSpoken(end));
    else polite(endSpoken(end));
    if (fresh()) {
      play(['accept', 'reject', 'hold'].includes(end.kind) ? end.kind : 'unexpected');
      $('verdict-word').focus({preventScroll: false});
      window.scrollTo(0, 0);
    }
  }
  before = {...before, ask: ask?.n ?? null, steady, end: ended};
}

// Where the focus was is gone with the old view; the new one is read from its top.
function turnTo(view) {
  if (document.body.dataset.view === view) return;
  document.body.dataset.view = view;
  if (document.querySelector('dialog[open]')) return;
  const at = document.activeElement;
  if (fresh() && view !== 'verdict' && (at === document.body || !at?.offsetParent)) $('main').focus({preventScroll: true});
}

// Plots are drawn a few times a second: what is to be done now must not wait for them.
const kPanels_ms = 300;
let panelsAt = -Infinity;
let panelsTimer = 0;

function panelsDue(over) {
  const now = performance.now();
  const left = panelsAt + kPanels_ms - now;
  clearTimeout(panelsTimer);
  if (over || left <= 0) {
    panelsAt = now;
    return true;
  }
  panelsTimer = setTimeout(later, left);
  return false;
}

function render() {
  waiting = false;
  loadPack();
  const ended = endNow();
  const end = ended && dismissed !== runKey() ? ended : null;
  const running = busy() && !end;
  const over = Boolean(end);
  show($('verdict'), over);
  show($('bench-view'), running || over);
  show($('now'), running);
  show($('setup'), !running && !over);
  turnTo(over ? 'verdict' : running ? 'now' : 'setup');
  $('main').dataset.work = model.log.run?.work ?? '';
  renderHeader(over);
  renderSetup({driving: driving(), free: free()});
  if (running) renderNow({profile: pack, driving: driving()});
  renderVerdict(end, pack);
  if (over) show($('face-side'), false);
  if (running || over) {
    renderLever(pack, over);
    renderRanking(over);
    renderChecks();
    if (panelsDue(over)) {
      renderCaptures();
      renderFindings(running);
      renderTold();
    }
  }
  const filled = (side) => document.querySelector(`.col.${side} > section:not([hidden])`);
  $('bench-view').dataset.columns = String(['left', 'right'].filter(filled).length);
  renderHazard(running || over);
  staleDialogs();
  speak(end);
}

function later() {
  if (waiting) return;
  waiting = true;
  // A hidden page draws nothing, but it still has to be heard.
  if (document.hidden) setTimeout(render, 50);
  else requestAnimationFrame(render);
}

const onMessage = {
  trouble: (data) => { if (fresh()) failure(`The bench failed: ${data?.what ?? ''}`); },
  told: (data) => { if (fresh()) notice(data?.text ?? ''); },
  said: (data) => { if (fresh()) notice(data?.text ?? ''); },
  run: () => { if (fresh()) failure(''); },
};

let heard = Number(forSession.get('heard') ?? 0);

function sound(data) {
  if (!data?.n || data.n === heard) return;
  heard = data.n;
  forSession.set('heard', String(heard));
  if (fresh()) play(data.kind);
}

function scanned(text) {
  const state = model.slots.state;
  if (busy()) return notice('A pack is on the bench: scan ignored.', 'refused');
  if (state && !driving() && !free()) return notice('Another screen drives: scan ignored.', 'refused');
  closeDialogs();
  dismissed = runKey();
  forSession.set('dismissed', dismissed);
  clearForNext();
  setSerial(text);
  failure('');
  notice(`Scanned: ${text.slice(0, 100)}. Press Start when the pack is connected.`);
  play('took');
  later();
}

function nextRun() {
  dismissed = runKey();
  forSession.set('dismissed', dismissed);
  clearForNext();
  failure('');
  render();
  $('serial').focus();
}

// Ready for a retest: nothing but Start is left to press.
function sameAgain() {
  const {serial = '', lot = ''} = model.log.run ?? {};
  nextRun();
  setSerial(serial);
  $('lot').value = lot;
  $('start').focus();
}

watchScanner(scanned);
watchKeys({act, stop: () => { if (busy()) stop(); }});
watchSwitches();
watchSetup(start);
watchActions();
watchCaptures();
$('next-run').addEventListener('click', nextRun);
$('same-again').addEventListener('click', sameAgain);
onRight({
  refused: (error) => notice(error || 'Another screen drives now; this one watches.', 'refused'),
  changed: later,
});
document.addEventListener('visibilitychange', later);
listen((name, data, id) => {
  apply(name, data, id);
  if (name === 'sound') sound(data);
  onMessage[name]?.(data);
  later();
}, (there) => {
  linked(there);
  later();
});
render();
