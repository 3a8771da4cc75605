// Guided probing: by the demo's hands, and by a technician who uses every key.
import {kHands, Watcher, patience, phase, post, sleep, soon, startRun, text, until, view} from './harness.mjs';
import {simulatedBench, Technician} from './technician.mjs';
import {axe} from './axe.mjs';
import {endsOnce, watchEnds} from './works.mjs';

/// What is lit on the face is what the ask names; -> the nodes, or null where they differ.
export const litAsAsked = (page) => page.evaluate(() => {
  const of = (role) => [...document.querySelectorAll(`#ask .probe[data-role=${role}]`)].flatMap((p) => p.dataset.nodes.split(' ')).filter(Boolean);
  const lit = (role) => [...document.querySelectorAll(`#face .lit.${role}`)].map((p) => p.dataset.pin);
  const onFace = (nodes) => nodes.filter((n) => document.querySelector(`#face [data-pin="${n}"]`)).sort().join();
  const asked = {red: onFace(of('red')), black: onFace(of('black'))};
  const seen = {red: lit('red').sort().join(), black: lit('black').sort().join()};
  return asked.red === seen.red && asked.black === seen.black ? asked : null;
});

export async function demoHands(world, demo) {
  const page = await world.page(demo.base);
  const watcher = new Watcher(demo.base);
  let sounds = 0;
  const states = new Set();
  watcher.on((name, data) => {
    if (name === 'sound' && data) sounds++;
    if (name === 'live' && data?.state) states.add(data.state);
  });
  await startRun(page, {work: 'diagnose', serial: 'HD-2402', bench: kHands, codes: ''});
  const begin = Date.now();
  await watchEnds(page);
  const ended = await phase(page, 'idle', 40000).then(() => true, () => false);
  const n = watcher.slots.ask?.n, live = watcher.slots.live;
  world.check('the demo\'s own hands come to an end', ended, ended ? `${((Date.now() - begin) / 1000).toFixed(1)} s, ${await text(page, '#verdict-word')}`
    : `stands at ask ${n}, "${live?.shown}", "${live?.state}"`);
  world.check('a sound now and then, not a stream of them', sounds < 100, `${sounds} in ${((Date.now() - begin) / 1000).toFixed(0)} s`);
  await endsOnce(world, page, 'diagnosis by hand');
  await world.picture(page, 'hands-demo');
  if (!ended) await page.click('#stop');
  await phase(page, 'idle');
  watcher.close();
  await world.leave(page);
}

async function skipWithReason(world, page, watcher, ask) {
  await sleep(300);
  await page.keyboard.press('F8');
  await page.waitForSelector('#skip-dialog[open]');
  await world.picture(page, 'skip-dialog');
  await axe(world, page, 'skip dialog');
  await page.keyboard.press('Enter');
  await page.click('#skip-this');
  world.check('no skip without a reason', (await text(page, '#skip-wrong')).includes('reason') && await page.isVisible('#skip-dialog'));
  await page.fill('#skip-reason', 'pin bent');
  await page.click('#skip-this');
  const next = await watcher.until('skipped', () => watcher.all('skipped').some((s) => s.reason.includes('pin bent')) && watcher.slots.ask.n !== ask.n, 4000)
    .then(() => true, () => false);
  world.check('a skip is kept with its reason, and the next question comes', next);
}

async function backAndAgain(world, page, watcher, ask) {
  await sleep(300);
  const answered = page.waitForResponse((answer) => answer.url().endsWith('/answer'));
  await page.keyboard.press('F9');
  await answered;
  await sleep(150);
  world.check('again: the same question stays', watcher.slots.ask.title === ask.title);
  await page.keyboard.press('F4');
  await watcher.until('the question before', () => watcher.slots.ask.n !== ask.n, 4000);
  const before = watcher.slots.ask;
  world.check('back: the question before comes again', before.red?.node !== ask.red?.node || before.black?.node !== ask.black?.node,
    [ask.red?.node, ask.black?.node, before.red?.node, before.black?.node]);
}

// A key by its own time stamp: `after_ms` after the page showed request `n`, however late it comes.
async function strike(page, key, n, after_ms) {
  const shown = await page.evaluate((n) => window.shownAt?.[n], n);
  const session = await page.context().newCDPSession(page);
  const at = {key, code: key, windowsVirtualKeyCode: 111 + Number(key.slice(1)), timestamp: (shown + after_ms) / 1000};
  await session.send('Input.dispatchKeyEvent', {type: 'rawKeyDown', ...at});
  await session.send('Input.dispatchKeyEvent', {type: 'keyUp', ...at});
  await session.detach();
}

// When the page showed which request, in ms since the epoch: strike() wants it.
const watchAsks = (page) => page.evaluate(() => {
  window.shownAt = {};
  const box = document.getElementById('ask');
  const note = () => { window.shownAt[box.dataset.ask] ??= performance.timeOrigin + performance.now(); };
  note();
  new MutationObserver(note).observe(box, {attributes: true, attributeFilter: ['data-ask']});
});

// Until the page shows this request: it may hear of it later than a watcher does.
const shows = (page, ask) => page.waitForFunction((n) => document.getElementById('ask').dataset.ask === String(n), ask.n, patience(2000));

const driverOf = (page) => page.evaluate(() => sessionStorage.getItem('pinproof.driver'));

// Not through the page, but by its right. A key within half a dwell was meant for the pair before.
async function answerBeside(screen, page, name, ask) {
  await sleep(50);
  return post(screen.base, '/answer', {ask: ask.n, key: name, text: ''}, await driverOf(page));
}

// The key on the STOP button stops, also for one who is typing an answer.
async function stoppedInAField(world, bench, screen, page) {
  await startRun(page, {serial: 'BY-HAND-2'});
  const watcher = new Watcher(screen.base);
  let typed = false, begin = 0;
  const press = (name, ask) => answerBeside(screen, page, name, ask);
  await new Technician(world, bench, watcher, {press, answer: async () => {
    await page.waitForSelector('#ask-answer:not([hidden])');
    await page.focus('#answer');
    await page.keyboard.type('2', {delay: 90});
    begin = Date.now();
    await page.keyboard.press('Escape');
    typed = true;
  }}).work(() => typed, 90000);
  const ended = await soon(page, 3000, () => view(page, 'verdict', 3000), begin);
  world.check('Escape stops while an answer is typed', typed && ended.good && /stopped by hand/.test(await text(page, '#verdict-why')), [typed, ended.says]);
  watcher.close();
}

// A server that hangs: whoever presses a key must not wonder why nothing comes of it.
async function toldOfNoAnswer(world, screen, page) {
  await startRun(page, {serial: 'NO-ANSWER'});
  await page.waitForSelector('#ask-actions button[data-act=again]:not([hidden])');
  await sleep(300);
  screen.kill('SIGSTOP');
  const begin = Date.now();
  page.expected.add('/answer').add(409);  // given up; what comes of it later is stale
  await page.keyboard.press('F9');
  const told = await soon(page, 8000, () => page.waitForFunction(() =>
    document.getElementById('notice').textContent === 'The server does not answer.', null, patience(8000)), begin);
  world.check('a key that gets no answer: told', told.good, told.says);
  screen.kill('SIGCONT');
  await page.keyboard.press('Escape');
  await view(page, 'verdict');
  await phase(page, 'idle');
}

// Neither hides behind a dialog: a coil may be on while somebody writes why a step is skipped.
async function stoppedBesideADialog(world, page) {
  const ways = {Escape: () => page.keyboard.press('Escape'), STOP: () => page.click('#stop')};
  for (const [name, stop] of Object.entries(ways)) {
    await startRun(page, {serial: `BESIDE-${name}`});
    await page.waitForSelector('#ask-actions button[data-act=skip]:not([hidden])');
    await sleep(300);
    await page.keyboard.press('F8');
    await page.waitForSelector('#skip-dialog[open]');
    const begin = Date.now();
    await stop();
    const ended = await soon(page, 3000, () => view(page, 'verdict', 3000), begin);
    world.check(`${name} stops beside an open dialog, which goes`, ended.good && /stopped by hand/.test(await text(page, '#verdict-why')) &&
      !(await page.isVisible('#skip-dialog')), `${ended.says}; ${await text(page, '#verdict-why')}`);
  }
}

export async function ownTechnician(world) {
  const bench = await simulatedBench(world, {name: 'by-hand', faults: ['coil B: open']});
  const screen = await world.screen('--bench', bench.file, '--profile', 'six-speed-20-pin', '--ledger', `${world.work}/hands-${Date.now()}.sqlite`);
  const page = await world.page(screen.base);
  const watcher = new Watcher(screen.base);
  await startRun(page, {serial: 'BY-HAND-1'});
  await watchAsks(page);
  let lit = 0, differ = [], touched = 0, took = 0, slips = 0, inTime = 0;
  const press = async (name, ask) => {
    // A key sooner after a question is taken for a slip of the finger.
    await shows(page, ask).catch(() => {});
    // Not on the bench's own resistors, which take themselves meanwhile.
    if (took === 5) {
      await strike(page, 'F2', ask.n, 100);
      await sleep(160);
      if (watcher.slots.ask.n !== ask.n) slips++;
    }
    // Enough of them by the key; the rest as fast as the server takes them.
    if (took > 25) return void await answerBeside(screen, page, name, ask);
    await sleep(265);
    if (watcher.slots.ask.n !== ask.n) return;
    took++;
    const struck = took === 8;
    if (struck) await strike(page, 'F2', ask.n, 260);
    else await page.keyboard.press({take: 'F2'}[name]);
    await until(`answered ${ask.title}`, () => watcher.slots.ask.n !== ask.n, 1500, 5)
      .then(() => { if (struck) inTime++; }, () => {});
  };
  const wants = async (ask) => {
    if (ask.kind !== 'touch') return undefined;
    touched++;
    await shows(page, ask).catch(() => {});
    const now = await until('the face follows', () => watcher.slots.ask.n !== ask.n || litAsAsked(page), 1000, 10).catch(() => null);
    if (now) lit++;
    else differ.push([ask.red?.node, ask.black?.node]);
    if (touched === 4) {
      await world.picture(page, 'hand-ask');
      await axe(world, page, 'asked by hand');
    }
    if (touched === 6) return skipWithReason(world, page, watcher, ask).then(() => false);
    if (touched === 9) return backAndAgain(world, page, watcher, ask).then(() => false);
    return undefined;
  };
  const technician = new Technician(world, bench, watcher, {press, wants, answer: async (text) => {
    await page.waitForSelector('#ask-answer:not([hidden])');
    await page.fill('#answer', text);
    await sleep(260);
    await page.keyboard.press('F2');
    await sleep(100);
  }});
  const begin = Date.now();
  const over = await technician.work(() => watcher.all('verdict').length > 0, 90000);
  world.check('a technician by hand comes to the verdict', over, `${technician.done} asks, ${took} by F2, ${((Date.now() - begin) / 1000).toFixed(1)} s`);
  world.check('every ask lights its pins', lit === touched && touched > 30, `${lit} of ${touched} ${JSON.stringify(differ.slice(0, 4))}`);
  world.check('F2 takes what does not take itself', took > 5, took);
  world.check('a key within 250 ms of a new ask is ignored', slips === 0);
  world.check('and one after them is not', inTime === 1, inTime);
  if (over) {
    await view(page, 'verdict');
    world.check('and the open coil is found by hand', await page.getAttribute('#verdict', 'data-verdict') === 'reject' &&
      (await text(page, '#verdict-findings')).includes('Coil B'), await text(page, '#verdict-why'));
  }
  await world.picture(page, 'hand-end');
  watcher.close();
  await stoppedInAField(world, bench, screen, page);
  await stoppedBesideADialog(world, page);
  await toldOfNoAnswer(world, screen, page);
  await world.leave(page);
}
