// The words and shapes of the screen. Every state has both: none is told by colour alone.

export const kOutcomes = {
  'pass': {shape: '✔', word: 'pass', many: 'passed'},
  'fail': {shape: '✖', word: 'fail', many: 'failed'},
  'undecided': {shape: '▲', word: 'undecided', many: 'undecided'},
  'skipped': {shape: '–', word: 'skipped', many: 'skipped'},
  'bench-fault': {shape: '⚡', word: 'bench fault', many: 'bench fault'},
};
export const outcome = (name) => kOutcomes[name] ?? {shape: '?', word: String(name), many: String(name)};

export const kVerdicts = {
  accept: {shape: '✔', word: 'ACCEPT'},
  reject: {shape: '✖', word: 'REJECT'},
  hold: {shape: '▲', word: 'HOLD'},
};

export const kWorks = {
  inspect: 'Inspect a pack',
  diagnose: 'Find the fault',
  lever: 'Prove the lever',
};

/// Of a range line: what stands in codes, and the word for it.
const kBits = {'0': 'closed', '1': 'open', 'x': 'either', 'w': 'neither', '?': 'not read', '.': 'not read'};
export const bitWord = (bit) => kBits[bit] ?? 'not read';

/// Does a seen line keep to the table? null: nothing to say yet.
export function agrees(expected, seen) {
  if (seen === undefined || seen === '?' || seen === '.' || seen === '') return null;
  if (expected === undefined || expected === 'x' || expected === '') return null;
  return expected === seen;
}

export function minutes(seconds) {
  if (!Number.isFinite(seconds) || seconds < 0) return '';
  if (seconds < 5) return 'a few seconds left';
  if (seconds < 90) return `about ${Math.ceil(seconds / 5) * 5} s left`;
  return `about ${Math.ceil(seconds / 60)} min left`;
}
