// What to do next, with which pack, profile and bench. Remembered, all but what belongs to one
// pack: its serial, and the temperature beside it.

import {$, brief, el, forever, setText, setWords, show} from './dom.js';
import {model} from './model.js';
import {profile} from './net.js';
import {kWorks} from './words.js';

const kLevels = {full: 'Full: coils driven', static: 'Static: coils not driven'};
const kKept = ['lot', 'note', 'codes'];
const kMostCards = 24;

let drawnOffer = '';
let tried = () => {};

function choice(group, value, text, chosen) {
  const input = el('input', {type: 'radio', name: group, value, id: `${group}-${value}`, checked: value === chosen});
  input.addEventListener('change', () => {
    forever.set(group, value);
    refresh();
  });
  return el('label', {class: 'choice', for: `${group}-${value}`}, input, el('span', {text}));
}

const picked = (group) => document.querySelector(`input[name=${group}]:checked`)?.value ?? '';

function options(select, names, says) {
  const before = select.value || forever.get(select.id);
  select.replaceChildren(...names.map((name, k) => el('option', {value: name, text: (says?.[k] ?? name).slice(0, 120)})));
  if (names.includes(before)) select.value = before;
}

function card(pack) {
  return el('button', {type: 'button', class: 'card', 'data-serial': pack.serial,
    onclick: () => {
      setSerial(pack.serial);
      $('lot').value = pack.lot ?? '';
      tried();
    }},
  brief(pack.serial, 'span', 'card-serial'), pack.lot ? el('span', {class: 'card-lot'}, brief(`Lot ${pack.lot}`)) : null, brief(pack.says, 'span', 'card-says'));
}

function renderOffer(offer) {
  const key = JSON.stringify(offer);
  if (key === drawnOffer) return;
  drawnOffer = key;
  const work = picked('work') || forever.get('work') || 'inspect';
  const levels = offer.levels?.length ? offer.levels : ['full', 'static'];
  const level = [picked('level'), forever.get('level')].find((l) => levels.includes(l)) ?? levels[0];
  $('works').replaceChildren(...Object.entries(kWorks).map(([value, text]) => choice('work', value, text, work)));
  $('levels').replaceChildren(...levels.map((value) => choice('level', value, kLevels[value] ?? value, level)));
  options($('profile'), offer.profiles ?? []);
  options($('bench'), (offer.benches ?? []).map((b) => b.name), (offer.benches ?? []).map((b) => `${b.name}${b.by_hand ? ', by hand' : ''}`));
  const packs = offer.packs ?? [];
  show($('packs'), packs.length > 0);
  $('pack-cards').replaceChildren(...packs.slice(0, kMostCards).map(card));
  show($('lots-link'), Boolean(offer.ledger));
  if (offer.lots && /^\/[^/\\]/.test(offer.lots)) $('lots-link').href = offer.lots;
  refresh();
}

function benchSays() {
  const bench = (model.slots.offer?.benches ?? []).find((b) => b.name === $('bench').value);
  if (!bench) return '';
  const how = bench.by_hand ? 'Two probes, held by hand.' : 'The relays connect the pins.';
  return bench.drives ? `${how} It can drive coils.` : `${how} It cannot drive coils: level static.`;
}

function refresh() {
  show($('codes-field'), picked('work') === 'diagnose');
  show($('level-choice'), picked('work') === 'inspect');
  setText($('bench-says'), benchSays());
  $('card-link').href = `/card?profile=${encodeURIComponent($('profile').value)}`;
  profile($('profile').value);  // ready when the run begins
}

export function setSerial(text) {
  $('serial').value = text;
}

/// {body, wrong}: what to send, or why not.
export function chosen() {
  const typed = $('celsius').value.trim().replace(',', '.');
  const celsius = typed === '' ? null : Number(typed);
  if (celsius !== null && !Number.isFinite(celsius)) return {wrong: 'The temperature is not a number.', field: $('celsius')};
  const body = {
    work: picked('work') || 'inspect', profile: $('profile').value, bench: $('bench').value, serial: $('serial').value.trim(),
    lot: $('lot').value.trim(), note: $('note').value.trim(), level: picked('level') || 'full',
    codes: picked('work') === 'diagnose' ? $('codes').value.split(/[\s,;]+/).filter(Boolean) : [], resume: 'no', celsius,
  };
  if (!body.profile) return {wrong: 'There is no profile to choose.', field: $('profile')};
  if (!body.bench) return {wrong: 'There is no bench to choose.', field: $('bench')};
  return {body};
}

export function clearForNext() {
  setSerial('');
  $('celsius').value = '';
}

export function renderSetup({driving, free}) {
  const offer = model.slots.offer;
  if (offer) renderOffer(offer);
  const may = (driving || free) && Boolean(offer);
  $('start').disabled = !may;
  for (const node of $('pack-cards').children) node.disabled = !may;
  const why = !offer ? 'Waiting for the server.' : may ? 'Scan the pack, then press Start. A scan never starts a run by itself.' : 'Another screen drives. Take the bench to start from here.';
  setWords($('setup-says'), why);
}

/// `start()` is called when an offered pack is pressed.
export function watchSetup(start) {
  tried = start;
  for (const id of kKept) {
    $(id).value = forever.get(id) ?? '';
    $(id).addEventListener('input', () => forever.set(id, $(id).value));
  }
  for (const id of ['profile', 'bench'])
    $(id).addEventListener('change', () => {
      forever.set(id, $(id).value);
      refresh();
    });
}
