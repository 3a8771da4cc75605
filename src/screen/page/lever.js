// The lever: where it stands, what the range lines read there, and the table as it fills.

import {$, el, setWords, show, sign, words} from './dom.js';
import {model} from './model.js';
import {agrees, bitWord} from './words.js';

function positionsOf(profile) {
  const named = profile?.lever?.positions ?? [];
  const names = named.map((p) => (typeof p === 'string' ? p : p.name));
  if (names.length) return names;
  return (model.slots.lever_table?.rows ?? model.log.lever?.positions ?? []).map((row) => row.position);
}

const goneThrough = (position) => (model.slots.lever_table?.rows ?? [])
  .some((row) => row.position === position && /[01w]/.test(row.seen ?? '') && !/[?]/.test(row.seen ?? ''));

function position(name, here) {
  const read = goneThrough(name);
  const at = name === here;
  return el('li', {class: `lever-position${at ? ' here' : ''}${read ? ' read' : ''}`, 'data-position': name, 'aria-current': at ? 'true' : null},
    el('span', {class: 'lever-mark', text: at ? '▼ here' : read ? '✔ read' : ' '}), words(name, 'span', 'lever-letter'));
}

function line(contact, bit, expected) {
  const fits = agrees(expected, bit);
  const known = bit === '0' || bit === '1' || bit === 'w';
  const kind = fits === false ? 'fail' : fits ? 'pass' : '';
  return el('div', {class: `line-box ${kind}`, 'data-contact': contact, 'data-bit': bit},
    words(contact, 'span', 'line-name'),
    el('span', {class: 'line-bit', text: known && bit !== 'w' ? bit : '·'}),
    el('span', {class: 'line-word', text: bitWord(bit)}),
    expected === undefined ? null : el('span', {class: 'line-expected'}, sign(fits === false ? '✖' : fits ? '✔' : '·'), expected === 'x' ? 'either will do' : `expected ${expected}`));
}

function cells(expected, seen, contacts) {
  return contacts.map((_, k) => {
    const fits = agrees(expected?.[k], seen?.[k]);
    const bit = seen?.[k] ?? '?';
    return el('td', {class: fits === false ? 'miss' : ''}, `${bit === '?' || bit === '.' ? '·' : bit}`,
      fits === false ? el('span', {class: 'miss-word'}, ` ✖ expected ${expected[k]}`) : null);
  });
}

function rowSign(row) {
  if (row.ok === true) return [sign('✔', 'good'), ' right'];
  if (row.ok === false) return [sign('✖', 'bad'), ' wrong'];
  if (row.ok === null) return [' not read'];
  const seen = row.seen ?? '';
  const wrong = [...seen].some((bit, k) => agrees(row.expected?.[k], bit) === false);
  if (wrong) return [sign('✖', 'bad'), ' wrong'];
  return seen && !/[?.]/.test(seen) ? [sign('✔', 'good'), ' right'] : [' to come'];
}

function table(contacts, rows, here) {
  const head = el('tr', {}, el('th', {scope: 'col', text: 'Lever'}), ...contacts.map((c) => el('th', {scope: 'col'}, words(c))),
    el('th', {scope: 'col', text: 'Reads'}), el('th', {scope: 'col', text: 'Result'}));
  const body = rows.map((row) => el('tr', {'data-position': row.position, class: row.position === here ? 'here' : ''},
    el('th', {scope: 'row'}, row.position === here ? sign('▶') : null, words(row.position)), ...cells(row.expected, row.seen, contacts),
    el('td', {}, words(row.reads ?? '')), el('td', {}, ...rowSign(row))));
  return el('table', {}, el('caption', {text: '0 closed, 1 open, w neither, x either, · not read yet'}), el('thead', {}, head), el('tbody', {}, ...body));
}

function renderHere(live) {
  show($('lever-reads'), Boolean(live));
  if (!live) return;
  const where = live.moving ? 'The lever moves.' : live.position ? `Lever in ${live.position}.` : 'Lever between positions.';
  const partly = /[?.]/.test(live.bits ?? '');
  const reads = live.reads ? `The code reads ${live.reads}.` : partly || live.moving ? '' : 'It reads no code.';
  setWords($('lever-reads'), `${where} ${reads}`.trim());
  const contacts = live.contacts ?? [];
  $('lever-lines').replaceChildren(...contacts.map((contact, k) => line(contact, live.bits?.[k] ?? '?', live.position ? live.expected?.[k] : undefined)));
}

let drawn = '';

export function renderLever(profile, over) {
  const live = over ? null : model.slots.lever_live;
  const result = model.log.lever;
  const running = over ? null : model.slots.lever_table;
  const read = result ? {contacts: result.contacts, rows: result.positions} : running;
  show($('lever'), Boolean(live || read));
  if (!live && !read) return;
  const here = live?.position || running?.here || '';
  const key = JSON.stringify([live, read, here, profile?.name, over]);
  if (key === drawn) return;
  drawn = key;
  $('lever-positions').replaceChildren(...positionsOf(profile).map((name) => position(name, here)));
  show($('lever-positions'), !over);
  renderHere(live);
  show($('lever-lines'), Boolean(live));
  $('lever-table').replaceChildren(...(read ? [table(read.contacts ?? [], read.rows ?? [], here)] : []));
  show($('lever-table'), Boolean(read));
}

/// What could go wrong on the road with this lever, now or in the end.
export function hazards() {
  const now = model.slots.lever_live?.hazard;
  if (model.log.lever) return model.log.lever.hazards ?? [];
  return now && model.slots.state?.phase !== 'idle' ? [now] : [];
}
