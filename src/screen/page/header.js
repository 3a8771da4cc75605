// The line on top: which run, how far, who drives; sound and colours; what must be heard.

import {$, forever, setText, setWords, show} from './dom.js';
import {model, busy} from './model.js';
import {hasToken, screen} from './net.js';
import {play, setSound, soundOn, unlockSound} from './sounds.js';
import {kWorks, minutes} from './words.js';

const kThemes = {'': 'Colours: as the system', light: 'Colours: light', dark: 'Colours: dark'};
const kNotice_ms = 9000;

export const driving = () => hasToken() && model.slots.state?.driver === screen;
export const free = () => Boolean(model.slots.state) && !model.slots.state.driver;

function renderWho() {
  const state = model.slots.state;
  const mine = driving();
  const text = !state ? 'Connecting to the server' : mine ? 'This screen drives' : free() ? 'Nobody drives' : state.driver === screen ? 'This screen has to take the bench again' : 'Watching; another screen drives';
  setText($('who-text'), `${mine ? '◆' : '◇'} ${text}`);
  $('who').dataset.who = mine ? 'drives' : free() ? 'free' : 'watches';
  show($('take-bench'), Boolean(state) && !mine);
  show($('leave-bench'), mine && !busy());
}

function renderRun(over) {
  const run = model.log.run;
  const on = Boolean(run) && (busy() || over);
  setText($('work-name'), on ? kWorks[run.work] ?? 'pinproof' : 'pinproof');
  show($('run-line'), on);
  if (!on) return;
  for (const [id, value] of [['run-serial', run.serial], ['run-lot', run.lot], ['run-profile', run.profile], ['run-level', run.work === 'inspect' ? run.level : '']]) {
    setWords($(id), value);
    show($(id).parentElement, Boolean(value));
  }
}

function renderProgress(over) {
  const p = model.slots.progress;
  const on = busy() && !over && Boolean(p) && p.of > 0;
  show($('progress'), on);
  if (!on) return;
  $('progress-bar').max = p.of;
  $('progress-bar').value = Math.min(p.done, p.of);
  const left = minutes(p.left_s ?? NaN);
  setText($('progress-text'), [`${p.done} of ${p.of}`, left, String(p.heading ?? '').slice(0, 50)].filter(Boolean).join(' · '));
}

export function renderHeader(over) {
  renderWho();
  renderRun(over);
  renderProgress(over);
  document.body.dataset.phase = model.slots.state?.phase ?? 'unknown';
}

let noticeTimer = 0;

/// A line that goes away again; also read out, and with a sound where it refuses something.
export function notice(text, sound) {
  setWords($('notice'), text);
  clearTimeout(noticeTimer);
  noticeTimer = setTimeout(() => setWords($('notice'), ''), kNotice_ms);
  if (sound) play(sound);
}

/// Stays until the next run or until it is put right.
export function failure(text) {
  setWords($('failure'), text);
}

let politeTimer = 0;

export function polite(text) {
  clearTimeout(politeTimer);
  politeTimer = setTimeout(() => setText($('polite'), text), 60);
}
export const urgent = (text) => setText($('urgent'), text);

let lostAt = 0;
let lostTimer = 0;

export function linked(there) {
  clearInterval(lostTimer);
  document.body.dataset.link = there ? 'there' : 'lost';
  if (there) {
    lostAt = 0;
    show($('lost'), false);
    return;
  }
  lostAt ||= Date.now();
  const tell = () => {
    // Only the beginning is for a screen reader; seconds are for eyes.
    const gone = Math.round((Date.now() - lostAt) / 1000);
    $('lost').setAttribute('aria-live', gone < 2 ? 'polite' : 'off');
    setText($('lost'), `⚠ Connection lost, reconnecting… ${gone} s. The run goes on without this screen.`);
    show($('lost'), true);
  };
  tell();
  lostTimer = setInterval(tell, 1000);
}

function theme(name) {
  if (name) document.documentElement.dataset.theme = name;
  else delete document.documentElement.dataset.theme;
  setText($('theme-switch'), kThemes[name]);
}

export function watchSwitches() {
  const sound = () => {
    setText($('sound-switch'), soundOn() ? 'Sound on' : 'Sound off');
    $('sound-switch').setAttribute('aria-pressed', String(soundOn()));
  };
  sound();
  $('sound-switch').addEventListener('click', () => {
    setSound(!soundOn());
    unlockSound();
    sound();
  });
  let now = forever.get('theme') ?? '';
  if (!(now in kThemes)) now = '';
  theme(now);
  $('theme-switch').addEventListener('click', () => {
    const names = Object.keys(kThemes);
    now = names[(names.indexOf(now) + 1) % names.length];
    forever.set('theme', now || null);
    theme(now);
  });
  // Later, and once for many keys: opening the loudspeaker takes longer than a scanner's keys do.
  let opening = 0;
  const unlock = () => {
    clearTimeout(opening);
    opening = setTimeout(unlockSound, 250);
  };
  for (const name of ['pointerdown', 'keydown']) window.addEventListener(name, unlock, {capture: true});
}
