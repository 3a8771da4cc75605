// The bar code scanner that types, and the keyboard alone.
import {readFileSync, writeFileSync} from 'node:fs';
import net from 'node:net';
import path from 'node:path';
import {kProfile, kRelays, phase, ready, sleep, startRun, text, until, view} from './harness.mjs';
import {simulatedBench} from './technician.mjs';

/// A burst as a scanner sends it: keys `apart_ms` apart by their own time stamps, Enter at the end.
/// A page that is held up before key `late` gets that key and what follows 300 ms after their time.
export async function scan(page, code, {apart_ms = 8, ends = 'Enter', late = -1} = {}) {
  const session = await page.context().newCDPSession(page);
  const begin = Date.now() / 1000;
  const sent = [];
  for (const [k, key] of [...code, ...(ends ? [ends] : [])].entries()) {
    if (k === late) await Promise.all(sent).then(() => sleep(300));
    const at = {timestamp: begin + (k * apart_ms) / 1000, key};
    const known = {Enter: {text: '\r', windowsVirtualKeyCode: 13, code: 'Enter'}, ' ': {text: ' ', windowsVirtualKeyCode: 32, code: 'Space'}}[key] ??
      {text: key, windowsVirtualKeyCode: key.toUpperCase().charCodeAt(0)};
    sent.push(session.send('Input.dispatchKeyEvent', {type: 'keyDown', ...at, ...known}));
    sent.push(session.send('Input.dispatchKeyEvent', {type: 'keyUp', ...at, ...known, text: undefined}));
  }
  await Promise.all(sent);
  await sleep(200);
  await session.detach();
}

const noRun = async (page) => await page.getAttribute('body', 'data-phase') === 'idle';

/// A bench whose meter takes the connection and never answers, so that opening it takes long.
async function silentBench(world) {
  const meter = net.createServer(() => {});
  await new Promise((then) => meter.listen(0, '127.0.0.1', then));
  world.ends.push(() => meter.close());
  const bench = JSON.parse(readFileSync(path.join(world.sources, 'examples/bench-meter-only.json'), 'utf8'));
  bench.instruments[0].address = `tcp://127.0.0.1:${meter.address().port}`;
  const file = path.join(world.work, 'silent-meter.json');
  writeFileSync(file, JSON.stringify(bench));
  return file;
}

// After a scan, so that a run has been put aside: one that fails while its bench is opened is told.
async function endedBeforeItBegan(world) {
  const answers = await simulatedBench(world, {name: 'answers', connect: 'matrix', speed: 4});
  const {base} = await world.screen('--bench', answers.file, '--bench', await silentBench(world),
    '--profile', kProfile, '--ledger', 'none');
  const page = await world.page(base);
  await startRun(page, {serial: 'HD-2410', bench: 'answers', level: 'full'});
  await page.keyboard.press('Escape');
  await phase(page, 'idle');
  await view(page, 'verdict');
  for (const time of ['first', 'second']) {
    await scan(page, `NEXT-${time}`, {ends: 'Tab'});
    await view(page, 'setup');
    await page.selectOption('#bench', 'silent-meter');
    await page.click('#start');
    await phase(page, 'busy');
    const begun = await page.evaluate(() => import('/page/model.js').then(({model}) => Boolean(model.log.run)));
    const begin = Date.now();
    await page.keyboard.press('Escape');
    await phase(page, 'idle');
    const told = await view(page, 'verdict', 5000).then(() => text(page, '#verdict-word'), () => '');
    world.check(`stopped while the bench was opened, the ${time} time: told`, /STOPPED/.test(told) && !begun &&
      await text(page, '#verdict-why') === 'Stopped by hand.' && /meter tcp:.*IDN/.test(await text(page, '#verdict-more')),
      `${told}, begun: ${begun}, ${Date.now() - begin} ms`);
    world.check(`and nobody is told any longer to press Start, the ${time} time`, await text(page, '#notice') === '', await text(page, '#notice'));
  }
  await world.picture(page, 'stopped-while-opened');
  await world.leave(page);
}

export async function scanner(world, demo) {
  const page = await world.page(demo.base);
  if (await page.isVisible('#next-run')) await page.click('#next-run');
  const spots = [
    ['the body', () => page.evaluate(() => document.activeElement.blur())],
    ['a choice (select)', () => page.focus('#bench')],
    ['another field', () => page.focus('#note')],
    ['the serial field itself', () => page.focus('#serial')],
    ['Start', () => page.focus('#start')],
    ['a pack\'s card', () => page.focus('.card[data-serial=HD-2404]')],
    ['a radio button', () => page.focus('#work-inspect')],
  ];
  const held = () => page.evaluate(() => [document.getElementById('bench').value, document.getElementById('note').value,
    document.getElementById('profile').value, document.querySelector('input[name=work]:checked').value].join('|'));
  for (const [where, focus] of spots) {
    const code = `SN-${1000 + spots.findIndex((s) => s[0] === where)} b1`;
    await page.fill('#serial', 'old');
    const before = await held();
    await focus();
    await scan(page, code);
    const serial = await page.inputValue('#serial');
    world.check(`a scan with the focus in ${where} sets the serial`, serial === code && before === await held(), [serial, code, before === await held()]);
    world.check(`and starts nothing`, await noRun(page) && await page.getAttribute('body', 'data-view') === 'setup');
  }
  for (const late of [2, 4, 7]) {
    await page.fill('#serial', 'old');
    await page.focus('#note');
    await scan(page, 'SN-2002 c3', {late});
    const held = [await page.inputValue('#serial'), await page.inputValue('#note')];
    world.check(`a scan that comes in two halves, the second late at key ${late}, is one`, held[0] === 'SN-2002 c3' && held[1] === '', held);
  }
  await spacedScans(world, page, spots);
  const who = await page.getAttribute('#who', 'data-who');
  await page.focus('#start');
  await page.keyboard.press('Enter');
  await page.focus('.card[data-serial=HD-2404]');
  await page.keyboard.press('Enter');
  await page.focus(who === 'free' ? '#take-bench' : '#leave-bench');
  await page.keyboard.press('Enter');
  await sleep(300);
  world.check('Enter acts on nothing', await noRun(page) && await page.getAttribute('#who', 'data-who') === who);
  await page.focus('#note');
  await page.fill('#note', '');
  await page.keyboard.type('slow 1', {delay: 85});
  world.check('a hand that types is no scanner', await page.inputValue('#note') === 'slow 1', await page.inputValue('#note'));
  await page.fill('#note', '');
  await world.picture(page, 'scanned');

  await startRun(page, {serial: 'HD-2410', bench: kRelays, level: 'full'});
  await until('its serial is shown', async () => await text(page, '#run-serial') === 'HD-2410').catch(() => {});
  await scan(page, 'OTHER-99');
  const notice = await text(page, '#notice');
  world.check('a scan in mid-run is refused in words', /scan/i.test(notice) && /ignored/.test(notice) && await text(page, '#run-serial') === 'HD-2410', notice);
  await world.picture(page, 'scan-refused');
  await page.keyboard.press('Escape');
  await phase(page, 'idle');
  await view(page, 'verdict');
  await scan(page, 'NEXT-PACK-7', {ends: 'Tab'});
  await view(page, 'setup');
  world.check('a scan on a verdict begins the next pack, but starts nothing', await page.inputValue('#serial') === 'NEXT-PACK-7' && await noRun(page));
  await world.leave(page);
  await endedBeforeItBegan(world);
}

// A code whose third character is a space: it comes before four keys tell a burst, and the key
// after it is swallowed. Space presses what has the focus.
async function spacedScans(world, page, spots) {
  for (const [where, focus] of spots) {
    await page.fill('#serial', 'old');
    await focus();
    await scan(page, 'SN 77-31');
    await sleep(150);
    const idle = await noRun(page) && await page.getAttribute('body', 'data-view') === 'setup';
    world.check(`a code with a space, focus in ${where}: starts nothing`, idle, await page.getAttribute('body', 'data-phase'));
    world.check(`a code with a space, focus in ${where}: sets the serial`, await page.inputValue('#serial') === 'SN 77-31', await page.inputValue('#serial'));
    if (!idle) {
      await page.click('#stop');
      await phase(page, 'idle');
      await page.click('#next-run');
    }
    // An open list of choices takes the keys.
    await page.keyboard.press('Escape');
  }
}

// ---- The keyboard alone

const focusSeen = (page) => page.evaluate(() => {
  const at = document.activeElement;
  if (!at || at === document.body) return {name: 'body', seen: true};
  const box = at.getBoundingClientRect(), style = getComputedStyle(at);
  const name = at.id || `${at.localName}.${at.className} ${at.textContent.trim().slice(0, 20)}`;
  const inView = box.bottom > 0 && box.top < innerHeight && box.right > 0 && box.left < innerWidth && box.width > 0;
  // Nothing fixed may lie over what has the focus (WCAG 2.2, 2.4.11).
  const x = Math.min(Math.max(box.left + box.width / 2, 1), innerWidth - 1), y = Math.min(Math.max(box.top + box.height / 2, 1), innerHeight - 1);
  const top = document.elementFromPoint(x, y);
  const free = !top || at.contains(top) || top.contains(at);
  return {name, seen: inView && free && at.matches(':focus-visible') && style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2,
    why: [inView, free, at.matches(':focus-visible'), style.outlineStyle, style.outlineWidth]};
});

/// Tab until `id` has the focus; -> what was passed without its focus being seen.
async function tabTo(page, id, most = 60) {
  const unseen = [];
  for (let k = 0; k < most; k++) {
    await page.keyboard.press('Tab');
    const at = await focusSeen(page);
    if (!at.seen) unseen.push(at);
    if (at.name === id) return unseen;
  }
  throw new Error(`Tab does not come to ${id}`);
}

export async function keyboard(world, demo) {
  const page = await world.page(demo.base);
  const unseen = [];
  const to = async (id) => unseen.push(...await tabTo(page, id));
  if (await page.getAttribute('body', 'data-view') === 'verdict') {
    await to('next-run');
    await page.keyboard.press('Space');
    await view(page, 'setup');
    await page.reload();
    await ready(page);
    if (await page.getAttribute('body', 'data-view') === 'verdict') {
      await to('next-run');
      await page.keyboard.press('Space');
      await view(page, 'setup');
      world.check('a pack that was dismissed stays dismissed when the page is loaded anew', false);
    }
  }
  await to('take-bench');
  await page.keyboard.press('Space');
  await until('drives', async () => await page.getAttribute('#who', 'data-who') === 'drives', 3000);
  await to('serial');
  await page.keyboard.press('Control+A');
  await page.keyboard.type('HD-2402', {delay: 85});
  await to('level-full');
  await page.keyboard.press('ArrowRight');
  world.check('an arrow key chooses the level', await page.isChecked('#level-static'));
  await page.keyboard.press('F10');
  await view(page, 'now');
  await view(page, 'verdict', 30000);
  world.check('by keyboard alone from load to verdict', await page.getAttribute('#verdict', 'data-verdict') === 'reject');
  world.check('the verdict has the focus', await page.evaluate(() => document.activeElement.id) === 'verdict-word');
  await to('report-link');
  await page.keyboard.press('Shift+Tab');
  world.check('from the report back to "Next pack"', (await focusSeen(page)).name === 'next-run', (await focusSeen(page)).name);
  await page.keyboard.press('Space');
  await view(page, 'setup');
  world.check('and on to the next pack, focus in the serial', await page.evaluate(() => document.activeElement.id) === 'serial');
  world.check('the focus is seen at every step', unseen.length === 0, unseen.slice(0, 5));
  await world.leave(page);
}
