// Short sounds for somebody who looks at the pack. Each has a twin on the screen.

import {forever} from './dom.js';

// [Hz, starts after s, lasts s]
const kSounds = {
  took: [[1760, 0, 0.04]],
  unexpected: [[220, 0, 0.16], [196, 0.24, 0.22]],
  ask: [[660, 0, 0.09]],
  accept: [[523, 0, 0.14], [659, 0.15, 0.14], [784, 0.3, 0.35]],
  reject: [[392, 0, 0.3], [311, 0.32, 0.3], [233, 0.64, 0.6]],
  hold: [[440, 0, 0.18], [440, 0.36, 0.18]],
  hazard: [[988, 0, 0.12], [740, 0.14, 0.12], [988, 0.28, 0.12], [740, 0.42, 0.12], [988, 0.56, 0.12], [740, 0.7, 0.2]],
  refused: [[175, 0, 0.3]],
};

let context = null;
let on = forever.get('sound') !== 'off';

export const soundOn = () => on;
export function setSound(wanted) {
  on = wanted;
  forever.set('sound', on ? 'on' : 'off');
}

/// Browsers allow sound only after somebody touched the page.
export function unlockSound() {
  const Context = window.AudioContext;
  if (!Context || !on) return;
  context ??= new Context();
  if (context.state === 'suspended') context.resume().catch(() => {});
}

export function play(kind) {
  document.documentElement.dataset.sound = kind;  // the last one asked for, heard or not
  if (!on || !context || context.state !== 'running') return;
  for (const [hertz, after, lasts] of kSounds[kind] ?? []) {
    const begin = context.currentTime + after;
    const tone = context.createOscillator();
    const loud = context.createGain();
    tone.type = hertz < 300 ? 'triangle' : 'sine';
    tone.frequency.value = hertz;
    loud.gain.setValueAtTime(0, begin);
    loud.gain.linearRampToValueAtTime(0.35, begin + 0.01);
    loud.gain.setValueAtTime(0.35, begin + lasts - 0.02);
    loud.gain.linearRampToValueAtTime(0, begin + lasts);
    tone.connect(loud).connect(context.destination);
    tone.start(begin);
    tone.stop(begin + lasts + 0.02);
  }
}
