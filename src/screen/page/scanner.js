// The bar code scanner types like a keyboard, only faster than any hand. Its burst is told by the
// time between keys and taken out of whatever has the focus.

const kApart_ms = 50;     // a scanner takes 1 to 30; a fast typist rolls two keys so, never four
const kEnough = 4;        // characters
const kSilence_ms = 120;  // ends a burst without Enter or Tab

/// The rule without a page: `key(k, at_ms)` says what to do with each key.
export class Burst {
  constructor() { this.clear(); }
  clear() {
    this.text = '';
    this.at = -Infinity;
  }
  get on() { return this.text.length >= kEnough; }

  /// -> 'first' (may be the begin of a burst), 'more', 'caught' (just became one), 'swallow',
  /// 'end' (swallow, and the burst is over), 'pass'.
  key(key, at) {
    const near = at - this.at <= kApart_ms;
    if (key.length === 1) {
      if (!near && !this.on) this.clear();
      const before = this.text.length;
      this.text += key;
      this.at = at;
      if (before === 0) return 'first';
      if (before + 1 === kEnough) return 'caught';
      return this.on ? 'swallow' : 'more';
    }
    const ends = key === 'Enter' || key === 'Tab';
    if (this.on && ends && at - this.at <= kSilence_ms) return 'end';
    if (this.on) return 'swallow';
    this.clear();
    return 'pass';
  }
}

const kModifiers = new Set(['Shift', 'AltGraph', 'CapsLock', 'NumLock', 'Control', 'Alt']);

/// What the first keys of a burst typed into a field, to be taken back out.
function remember(target) {
  const field = target instanceof HTMLInputElement || target instanceof HTMLTextAreaElement ||
    target instanceof HTMLSelectElement;
  if (!field || target.type === 'checkbox' || target.type === 'radio') return () => {};
  const value = target.value;
  let at = null;
  try {
    at = [target.selectionStart, target.selectionEnd];
  } catch {
    /* numbers have no selection */
  }
  return () => {
    if (target.value === value) return;
    target.value = value;
    if (at && at[0] !== null) target.setSelectionRange?.(at[0], at[1]);
    target.dispatchEvent(new Event('input', {bubbles: true}));
  };
}

/// `scanned(text)` for each burst, wherever the focus is; twice where a page that was held up took
/// its first half for the whole. Comes before every other key rule.
export function watchScanner(scanned) {
  const burst = new Burst();
  let undo = () => {};
  let timer = 0, told = '';
  // Silence. The burst stays: keys that were only late carry the time they were struck at.
  const tell = () => {
    const text = burst.text.trim();
    if (!burst.on || !text || text === told) return;
    told = text;
    scanned(text);
  };
  const finish = () => {
    clearTimeout(timer);
    tell();
    burst.clear();
    told = '';
    undo = () => {};
  };
  const swallow = (event) => {
    event.preventDefault();
    event.stopImmediatePropagation();
  };
  window.addEventListener('keydown', (event) => {
    if (event.timeStamp - burst.at > kSilence_ms) finish();
    if (event.repeat || event.isComposing || kModifiers.has(event.key)) {
      if (burst.on) swallow(event);
      return;
    }
    if ((event.ctrlKey || event.altKey || event.metaKey) && !event.getModifierState('AltGraph')) {
      if (burst.on) swallow(event);
      return;
    }
    const said = burst.key(event.key, event.timeStamp);
    if (said === 'pass') return;
    if (said === 'first') undo = remember(event.target);
    if (said === 'caught') {
      undo();
      window.dispatchEvent(new Event('scanning'));  // whatever its first keys had begun
    }
    if (said === 'caught' || said === 'swallow' || said === 'end') swallow(event);
    clearTimeout(timer);
    if (said === 'end') return finish();
    timer = setTimeout(tell, kSilence_ms);
  }, true);
}
