// What the person wants: driving, starting, answering, stopping. The page only asks; the server
// decides.

import {$, setText, show} from './dom.js';
import {askNow} from './bench.js';
import {driving, failure, free, notice, polite} from './header.js';
import {busy} from './model.js';
import {drive, dropToken, post, release} from './net.js';
import {chosen} from './setup.js';

const kReaction_ms = 250;  // a key so soon after a request was meant for the one before
const kStop_ms = 1500;     // an answer to STOP takes milliseconds
const kStopTries = 5;
const kNoStop = 'STOP did not get through to the server. Switch the supply off by hand.';

let askedAt = 0;
let sending = false;
let cutOff = null;   // what to start after go on / anew
let skipped = null;  // the request to which the open dialog belongs
let back = null;     // where the focus was

export const asked = () => { askedAt = performance.now(); };

const why = (answer) => answer.body?.error || `The server refused (${answer.status}).`;

export async function takeBench(over = false) {
  const answer = await drive(over);
  if (answer.ok) return notice('This screen drives now.');
  if (answer.status === 409 && !over) return open('over-dialog', 'over-take');
  notice(why(answer), 'refused');
}

export async function leaveBench() {
  const answer = await release();
  if (!answer.ok && answer.status !== 403) notice(why(answer), 'refused');
  dropToken();
}

// Not by showModal(): STOP has to work beside an open dialog.
const kBehind = ['top', 'main', 'foot'];
const behind = (shut) => { for (const id of kBehind) $(id).inert = shut; };

function open(id, focus) {
  closeDialogs();
  back = document.activeElement;
  $(id).show();
  behind(true);
  $(focus).focus();
}

function close(id) {
  $(id).close();
}

// The focus goes back where it was, if that is still to be seen.
function closed() {
  if (document.querySelector('dialog[open]')) return;
  behind(false);
  if (back?.isConnected && back.offsetParent) back.focus();
  back = null;
}

export function closeDialogs() {
  for (const id of ['skip-dialog', 'cut-dialog', 'over-dialog']) if ($(id).open) close(id);
}

async function send(body) {
  if (free() && !driving()) {
    const answer = await drive(false);
    if (!answer.ok) return notice(why(answer), 'refused');
  }
  const answer = await post('/start', body);
  if (answer.ok) return failure('');
  if (answer.status === 409 && answer.body?.cut_off) {
    cutOff = body;
    setText($('cut-text'), `Serial ${body.serial.slice(0, 80)}. ${answer.body.error ?? ''}`);
    return open('cut-dialog', 'cut-go-on');
  }
  if (answer.status !== 403) failure(`Not started: ${why(answer)}`);
}

export async function start() {
  if (busy()) return notice('A run is on.', 'refused');
  if (sending) return;
  const {body, wrong, field} = chosen();
  if (wrong) {
    field?.focus();
    return notice(wrong, 'refused');
  }
  notice('');  // "Press Start" is done
  sending = true;
  await send(body);
  sending = false;
}

function startAgain(resume) {
  const body = cutOff;
  cutOff = null;
  close('cut-dialog');
  if (body) send({...body, resume});
}

async function answer(ask, key, text) {
  if (sending) return;
  sending = true;
  const got = await post('/answer', {ask, key, text: text ?? ''});
  sending = false;
  if (!got.ok && got.status !== 403) notice(why(got), 'refused');
}

function openSkip(ask) {
  skipped = ask;
  $('skip-reason').value = '';
  setText($('skip-wrong'), '');
  show($('skip-all'), ask.actions.includes('skip_all'));
  setText($('skip-all'), `Skip all${ask.all_of ? ` ${ask.all_of}`.slice(0, 60) : ' of them'}`);
  open('skip-dialog', 'skip-reason');
}

function skip(key) {
  const reason = $('skip-reason').value.trim();
  if (!reason) {
    setText($('skip-wrong'), 'A reason is needed: the record keeps it.');
    $('skip-reason').focus();
    return;
  }
  close('skip-dialog');
  if (skipped) answer(skipped.n, key, reason);
}

/// A button, or a function key that was struck at `at_ms`: a page that was held up hears of it late.
export function act(name, at_ms = Infinity) {
  if (name === 'start') {
    if (!$('setup').hidden) start();
    return;
  }
  const ask = askNow();
  if (!ask || $('now').hidden || !driving() || !(ask.actions ?? []).includes(name)) return;
  if (at_ms - askedAt < kReaction_ms) return;
  if (name === 'skip') return openSkip(ask);
  answer(ask.n, name, name === 'take' && ask.kind === 'text' ? $('answer').value.trim() : '');
}

/// A server that does not answer at once is asked again, each time over another connection, and the
/// person is told meanwhile: a coil may be on.
export async function stop() {
  for (let tries = 0; tries < kStopTries; ++tries) {
    const got = await post('/stop', {}, kStop_ms);
    if (got.status !== 0 && $('failure').dataset.said === kNoStop) failure('');
    if (got.ok) return busy() ? polite('Stopping. The bench is being made safe.') : undefined;
    if (got.status === 409) return notice(why(got));
    failure(kNoStop);
    if (got.status !== 0) return;
  }
}

/// The request that the open dialog belongs to may be over.
export function staleDialogs() {
  if ($('skip-dialog').open && askNow()?.n !== skipped?.n) close('skip-dialog');
  if ($('cut-dialog').open && busy()) close('cut-dialog');
}

export function watchActions() {
  const on = (id, then) => $(id).addEventListener('click', then);
  on('stop', stop);
  on('start', () => start());
  on('take-bench', () => takeBench());
  on('leave-bench', leaveBench);
  for (const button of $('ask-actions').querySelectorAll('button')) button.addEventListener('click', () => act(button.dataset.act));
  on('skip-this', () => skip('skip'));
  on('skip-all', () => skip('skip_all'));
  on('skip-cancel', () => close('skip-dialog'));
  on('cut-go-on', () => startAgain('go-on'));
  on('cut-anew', () => startAgain('anew'));
  on('cut-cancel', () => close('cut-dialog'));
  on('over-take', () => {
    close('over-dialog');
    takeBench(true);
  });
  on('over-cancel', () => close('over-dialog'));
  for (const id of ['skip-dialog', 'cut-dialog', 'over-dialog']) $(id).addEventListener('close', closed);
}
