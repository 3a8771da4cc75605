// Keys that act. Only function keys, Space on a focused button and Escape do; never Enter, never a
// letter: both come out of scanners, and of sleeves.

import {busy} from './model.js';

const kAct_ms = 70;  // a Space waits so long: it may be the first character of a scan

export const kKeys = {F2: 'take', F4: 'back', F8: 'skip', F9: 'again', F10: 'start'};

const kPressable = 'button, summary, input[type=checkbox], input[type=radio]';
const isText = (node) => node instanceof HTMLTextAreaElement ||
  (node instanceof HTMLInputElement && !['checkbox', 'radio', 'button'].includes(node.type));

function nextField(from) {
  const around = from.closest('dialog, form, section, main') ?? document.body;
  const all = [...around.querySelectorAll('input, select, textarea, button')]
    .filter((node) => !node.disabled && node.offsetParent !== null && !node.classList.contains('more'));
  all[all.indexOf(from) + 1]?.focus();
}

function enter(event) {
  const target = event.target;
  if (target.closest?.('a[href]')) return;
  event.preventDefault();
  if (event.repeat) return;
  if (isText(target) || target instanceof HTMLSelectElement) nextField(target);
}

const inList = (event) => event.target instanceof HTMLSelectElement;

// No type-ahead: a letter must not choose another profile or bench.
function letter(event) {
  if (inList(event) && !event.ctrlKey && !event.metaKey) event.preventDefault();
}

function space(event, later) {
  const list = inList(event);
  const button = list ? null : event.target.closest?.(kPressable);
  if (!list && !button) return;
  event.preventDefault();  // an open list would swallow the rest of a scan
  if (!event.repeat) later(list ? () => event.target.showPicker?.() : () => button.click());
}

// While nothing runs, a dialog takes it.
function escape(event, stop) {
  const dialog = document.querySelector('dialog[open]');
  if (dialog) dialog.close();
  if ((!dialog || busy()) && !event.repeat && !event.isComposing) stop();
}

function functionKey(event, act) {
  const name = kKeys[event.key];
  if (!name) return;
  event.preventDefault();
  if (event.repeat || document.querySelector('dialog[open]')) return;
  act(name, event.timeStamp);
}

/// `act(name, at_ms)` for a function key, with the time it was struck at; `stop()` for Escape
/// wherever the focus is.
export function watchKeys({act, stop}) {
  let pressing = 0;
  const later = (press) => {
    clearTimeout(pressing);
    pressing = setTimeout(press, kAct_ms);
  };
  window.addEventListener('scanning', () => clearTimeout(pressing));
  window.addEventListener('keydown', (event) => {
    if (event.key.length === 1 && event.key !== ' ') {
      clearTimeout(pressing);
      letter(event);
    }
    if (event.key === 'Enter') return enter(event);
    if (event.key === ' ') return space(event, later);
    if (event.ctrlKey || event.altKey || event.metaKey || event.shiftKey) return;
    if (event.key === 'Escape') return escape(event, stop);
    functionKey(event, act);
  });
  // Some browsers press a button when Space goes up, whatever became of its going down.
  window.addEventListener('keyup', (event) => {
    if (event.key === ' ' && event.target.closest?.(kPressable)) event.preventDefault();
  });
}
