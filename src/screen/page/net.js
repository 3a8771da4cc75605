// Telling the server. This page's id and its right to drive live as long as the browser's tab.

import {forSession} from './dom.js';

function freshId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (b) => b.toString(16).padStart(2, '0')).join('');
}

export const screen = (() => {
  const known = forSession.get('screen');
  if (known && /^[0-9a-f]{16,}$/.test(known)) return known;
  const id = freshId();
  forSession.set('screen', id);
  return id;
})();

let token = forSession.get('driver');
let refused = () => {};
let changed = () => {};

export const hasToken = () => Boolean(token);
function keep(wanted) {
  token = wanted;
  forSession.set('driver', wanted);
  changed();
}
export const dropToken = () => keep(null);

/// `refused(error)` when the server says that this page has no right to drive; `changed()` when the
/// right to drive came or went.
export function onRight(listener) {
  ({refused, changed} = listener);
}

// A browser opens six connections to one server, and each of its windows listens on one. Where
// all are taken, nothing that is sent gets out: the windows make room for a moment.
const room = new BroadcastChannel('pinproof-room');
const kRoom_ms = 300;
let makeRoom = () => {};
export function onRoom(listener) {
  makeRoom = listener;
  room.onmessage = () => makeRoom(false);
}
function wantRoom() {
  room.postMessage(null);
  makeRoom(true);
}

const kAnswer_ms = 5000;  // an answer takes milliseconds, and no key acts while one is waited for

/// -> {ok, status, body}; status 0: the server was not reached, or not in time. Never throws.
export async function post(path, body, within_ms = kAnswer_ms) {
  const headers = {'Content-Type': 'application/json'};
  if (token) headers['X-Pinproof-Driver'] = token;
  let answer;
  const full = setTimeout(wantRoom, kRoom_ms);
  // Not AbortSignal.timeout(): a browser of a few years ago has none, and STOP would never leave it.
  const patience = new AbortController();
  const late = setTimeout(() => patience.abort(), within_ms);
  try {
    answer = await fetch(path, {method: 'POST', headers, body: JSON.stringify(body), cache: 'no-store',
      signal: patience.signal});
  } catch {
    const error = patience.signal.aborted ? 'The server does not answer.' : 'The server cannot be reached.';
    return {ok: false, status: 0, body: {error}};
  } finally {
    clearTimeout(late);
    clearTimeout(full);
  }
  const read = await answer.json().catch(() => ({}));
  if (answer.status === 403 && path !== '/drive') {
    dropToken();
    refused(read.error);
  }
  return {ok: answer.ok, status: answer.status, body: read ?? {}};
}

export async function drive(takeOver) {
  const answer = await post('/drive', {screen, take_over: takeOver});
  if (answer.ok && typeof answer.body.driver === 'string') keep(answer.body.driver);
  return answer;
}

export async function release() {
  const answer = await post('/release', {});
  if (answer.ok) dropToken();
  return answer;
}

const profiles = new Map();

/// The profile's pins and face; null where there is none to be had.
export async function profile(name) {
  if (!name) return null;
  if (profiles.has(name)) return profiles.get(name);
  try {
    const answer = await fetch(`/profile?name=${encodeURIComponent(name)}`, {cache: 'no-store'});
    if (!answer.ok) return null;
    const read = await answer.json();
    profiles.set(name, read);
    return read;
  } catch {
    return null;
  }
}
