// Listening to the server. The browser reconnects by itself; doubles are dropped by their id.

import {onRoom, screen} from './net.js';

const kNames = ['run', 'reading', 'capture', 'skipped', 'trouble', 'said', 'results', 'finding', 'marks',
  'finished', 'verdict', 'failed', 'lever_result', 'told', 'offer', 'state', 'progress', 'ask', 'live',
  'sound', 'lever_table', 'lever_live', 'ranking'];
const kAgain_ms = 2000;      // after the browser gave up
const kRoom_ms = 600;        // without a connection, so that another window gets one
const kSilent_ms = 30000;    // of a server that sends beats
const kSettle_ms = 1500;     // what comes sooner after the start is old news

let source = null;
let last = {epoch: '', n: -1};
let beatAt = 0;
let begunAt = Infinity;

/// Whether what comes now has just happened: only then is it worth a sound.
export const fresh = () => performance.now() - begunAt > kSettle_ms;

function isDouble(id) {
  const cut = id ? id.lastIndexOf('-') : -1;
  if (cut < 0) return false;
  const epoch = id.slice(0, cut);
  const n = Number(id.slice(cut + 1));
  if (epoch === last.epoch && n <= last.n) return true;
  last = {epoch, n};
  return false;
}

function parsed(text) {
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}

/// `tell(name, data, id)` for each message; `link(true|false)` when the connection is there or not.
export function listen(tell, link) {
  const open = () => {
    source?.close();
    source = new EventSource(`/events?screen=${encodeURIComponent(screen)}`);
    source.addEventListener('open', () => {
      begunAt = Math.min(begunAt, performance.now());
      beatAt = 0;
      link(true);
    });
    source.addEventListener('error', () => {
      link(false);
      if (source.readyState === EventSource.CLOSED) setTimeout(open, kAgain_ms);
    });
    source.addEventListener('reset', () => {
      last = {epoch: '', n: -1};
      tell('reset', {});
    });
    source.addEventListener('beat', () => { beatAt = performance.now(); });
    for (const name of kNames)
      source.addEventListener(name, (message) => {
        const logged = !kSlots.has(name);
        if (logged && isDouble(message.lastEventId)) return;
        tell(name, parsed(message.data), message.lastEventId);
      });
  };
  open();
  // The window that asks for room has to hear what comes of it, so it is the first to be back.
  onRoom((asking) => {
    source.close();
    setTimeout(open, asking ? 0 : kRoom_ms + 400 * Math.random());
  });
  window.addEventListener('offline', () => link(false));
  window.addEventListener('online', () => { if (source.readyState !== EventSource.OPEN) open(); else link(true); });
  window.addEventListener('pagehide', () => source.close());
  window.addEventListener('pageshow', (event) => { if (event.persisted) open(); });
  setInterval(() => {
    if (!beatAt || performance.now() - beatAt < kSilent_ms) return;
    beatAt = 0;
    link(false);
    open();
  }, 5000);
}

// lastEventId stays that of the line before in a message without id, so it says nothing of a slot.
const kSlots = new Set(['offer', 'state', 'progress', 'ask', 'live', 'sound', 'lever_table', 'lever_live', 'ranking']);
