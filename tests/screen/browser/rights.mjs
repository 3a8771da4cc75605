// Stopping from anywhere, loading anew in mid-run, and who drives.
import {kRelays, Watcher, isShown, patience, phase, post, sleep, soon, startRun, text, until, view} from './harness.mjs';
import {simulatedBench} from './technician.mjs';
import {axe} from './axe.mjs';

const readingsOf = (page) => page.evaluate(async () => (await import('/page/model.js')).model.log.readings);
const resultsOf = (page) => page.$$eval('#checks-list .result', (all) => all.map((r) =>
  [r.dataset.check, r.dataset.outcome, r.querySelector('.result-title').textContent, r.querySelector('.result-text').textContent].join('|')).sort().join('\n'));

// A simulated supply times its pulses itself, and the account of one is written in a moment.
async function drivesCoils(page, bench, serial) {
  const before = bench.output().length;
  await startRun(page, {serial, level: 'full'});
  await until('coils are driven', () => bench.output().length > before, 30000, 2);
}

/// Stops while coils are driven; the bench's own account of its output is the judge.
async function stopped(world, bench, base, serial, what, press) {
  const page = await world.page(base);
  const other = await world.page(base);
  await drivesCoils(page, bench, serial);
  const begin = Date.now(), way = [];
  const note = (what) => way.push(`${what} after ${Date.now() - begin} ms`);
  for (const one of [page, other]) {
    one.on('request', (request) => { if (request.url().endsWith('/stop')) note('asked'); });
    one.on('response', (answer) => { if (answer.url().endsWith('/stop')) note(`answered ${answer.status()}`); });
  }
  await press(page, other);
  note('pressed');
  const idle = await soon(page, 2000, () => until('idle', () => page.evaluate(() => document.body.dataset.phase === 'idle'), 8000, 10), begin);
  const lines = bench.output();
  await sleep(400);
  world.check(`stopped by ${what}: output off and idle within 2 s`, lines.at(-1)?.output === 'off' && idle.good &&
    bench.output().length === lines.length, `${idle.says} (${way.join(', ')}), ${lines.filter((l) => l.output === 'on').length} times on`);
  await view(page, 'verdict');
  await view(other, 'verdict');
  const says = await text(other, '#verdict');
  world.check(`stopped by ${what}: no pack is accepted, and both pages say why`, await page.getAttribute('#verdict', 'data-verdict') === 'hold' &&
    /stopped/i.test(says) && /HOLD/.test(says), says.replace(/\s+/g, ' ').slice(0, 160));
  if (what === 'Esc') await world.picture(page, 'verdict-hold');
  await world.leave(page);
  await world.leave(other);
}

// The program is killed in mid-run and started again on the same port: what the page then does.
async function cutOff(world, screen, args, serial) {
  const page = await world.page(screen.base);
  page.expected.add(409);
  await startRun(page, {serial, level: 'full'});
  await until('readings', async () => await readingsOf(page) > 5);
  page.leaving = true;  // requests fail now, as they should
  screen.kill();
  await page.waitForSelector('body[data-link=lost]', patience(5000));
  world.check('the program gone: said on the page', (await text(page, '#lost')).includes('Connection lost') && await isShown(page, '#lost'));
  await world.picture(page, 'lost');
  await axe(world, page, 'connection lost');
  await world.screen(...args, '--port', new URL(screen.base).port);
  await page.waitForSelector('body[data-link=there][data-phase=idle]', patience(8000));
  world.check('the program back: the page comes back by itself', await page.getAttribute('body', 'data-view') === 'setup' && !(await isShown(page, '#lost')));
  page.leaving = false;
  await page.fill('#serial', serial);
  page.expected.add(403);  // the right to drive went with the program
  await page.click('#start');
  // By one click, however long it takes: a second one would find Start behind the dialog.
  const asked = await page.waitForSelector('#cut-dialog[open]').then(() => true, () => false);
  world.check('Start takes the bench again by itself', asked, asked ? '' :
    `${await text(page, '#who-text')}; ${await text(page, '#notice')}; ${await text(page, '#failure')}; ${await page.getAttribute('body', 'data-view')}`);
  world.check('a pack that was cut off: asked what to do', (await text(page, '#cut-text')).includes(serial), await text(page, '#cut-text'));
  await world.picture(page, 'cut-dialog');
  await axe(world, page, 'cut-off dialog');
  await page.keyboard.press('Escape');
  await page.waitForSelector('#cut-dialog', {state: 'hidden'});
  world.check('Escape closes a dialog and starts nothing', await page.getAttribute('body', 'data-phase') === 'idle');
  await page.click('#start');
  await page.click('#cut-go-on');
  await view(page, 'now');
  world.check('going on keeps what was measured before', await until('earlier readings', () => readingsOf(page), 5000) > 0);
  await page.click('#stop');
  await phase(page, 'idle');
  await world.leave(page);
}

// A server that hangs: the person must know that STOP did nothing, and it must count once it can.
async function hangs(world, bench, screen) {
  const page = await world.page(screen.base);
  page.expected.add('/stop').add(409);  // given up and asked again; all but one come after the stop
  await drivesCoils(page, bench, 'STOP-4');
  screen.kill('SIGSTOP');
  const begin = Date.now();
  await page.keyboard.press('Escape');
  const told = await soon(page, 3000, () => page.waitForFunction(() =>
    /STOP did not get through.*by hand/.test(document.getElementById('failure').textContent), null, patience(3000)), begin);
  world.check('a server that hangs: told that STOP did not get through', told.good, told.says);
  screen.kill('SIGCONT');
  await view(page, 'verdict');
  await phase(page, 'idle');
  world.check('and it is stopped once it goes on, and no longer told', await page.getAttribute('#verdict', 'data-verdict') !== 'accept' &&
    await until('told no longer', async () => await text(page, '#failure') === '').catch(() => false) !== false, await text(page, '#verdict-why'));
  await world.leave(page);
}

export async function stops(world) {
  const bench = await simulatedBench(world, {name: 'stops', connect: 'matrix', speed: 4});
  const args = ['--bench', bench.file, '--profile', 'six-speed-20-pin', '--ledger', `${world.work}/stops-${Date.now()}.sqlite`];
  const screen = await world.screen(...args);
  const {base} = screen;
  await stopped(world, bench, base, 'STOP-1', 'Esc', (page) => page.keyboard.press('Escape'));
  await stopped(world, bench, base, 'STOP-2', '#stop', (page) => page.click('#stop'));
  await stopped(world, bench, base, 'STOP-3', 'a watcher without the token', async (_, other) => {
    world.check('who watches may not drive', await text(other, '#who-text').then((t) => t.includes('Watching')) && !(await isShown(other, '#ask-actions')));
    await other.click('#stop');
  });
  await hangs(world, bench, screen);
  await cutOff(world, screen, args, 'CUT-1');
}

export async function reloaded(world) {
  const bench = await simulatedBench(world, {name: 'reloaded', connect: 'matrix', speed: 1.5});  // long enough
  const {base} = await world.screen('--bench', bench.file, '--profile', 'six-speed-20-pin', '--ledger', 'none');
  const page = await world.page(base);
  const steady = await world.page(base);
  await startRun(page, {serial: 'HD-2403', level: 'full'});
  for (let k = 0; k < 3; k++) {
    await sleep(500);
    await page.reload();
    await page.waitForSelector('body[data-view=now]');
  }
  await until('drives still', async () => (await text(page, '#who-text')).includes('This screen drives'), 3000);
  world.check('loaded anew three times in mid-run: the same run, and it still drives', (await text(page, '#run-serial')) === 'HD-2403');
  await view(page, 'verdict', 60000);
  await view(steady, 'verdict');
  const [one, two] = [await readingsOf(page), await readingsOf(steady)];
  world.check('and no reading is lost or doubled', one === two && one > 60, `${one} and ${two}`);
  world.check('nor any result', await resultsOf(page) === await resultsOf(steady) && (await resultsOf(page)).length > 2000);
  world.check('two watchers show the same end', await text(page, '#verdict') === await text(steady, '#verdict'));
  await page.click('#next-run');
  await page.fill('#serial', 'HD-2410');
  await page.click('#start');
  await view(page, 'now');
  world.check('the token is kept: it starts the next run', true);
  await page.keyboard.press('Escape');
  await phase(page, 'idle');
  await world.leave(page);
  await world.leave(steady);
}

export async function watchers(world, demo) {
  const one = await world.page(demo.base);
  const two = await world.page(demo.base);
  for (const page of [one, two]) if (await isShown(page, '#next-run')) await page.click('#next-run');
  await one.click('#take-bench');
  await until('seen by the other', async () => (await two.getAttribute('#who', 'data-who')) === 'watches', 3000);
  await until('seen by itself', async () => (await one.getAttribute('#who', 'data-who')) === 'drives', 3000);
  world.check('one drives, the other watches and cannot start', await two.isDisabled('#start') && await one.isEnabled('#start'));
  await world.picture(two, 'watching');
  two.expected.add(409);
  await two.click('#take-bench');
  await two.waitForSelector('#over-dialog[open]');
  world.check('taking over is asked for first', await one.getAttribute('#who', 'data-who') === 'drives');
  await world.picture(two, 'over-dialog');
  await axe(world, two, 'take-over dialog');
  await two.click('#over-cancel');
  await two.click('#take-bench');
  await two.waitForSelector('#over-dialog[open]');
  await two.click('#over-take');
  await until('taken over', async () => (await two.getAttribute('#who', 'data-who')) === 'drives' && (await one.getAttribute('#who', 'data-who')) === 'watches', 3000);
  world.check('and then the other drives', await one.isDisabled('#start') && await two.isEnabled('#start'));
  const refused = await post(demo.base, '/start', {work: 'inspect', profile: 'six-speed-20-pin', bench: kRelays, serial: 'X', lot: '', note: '', level: 'full', codes: [], resume: 'no', celsius: null}, 'not-a-token');
  world.check('the server itself refuses a start without the right', refused.status === 403, refused);
  await world.leave(two, {abrupt: true});
  one.expected.add(409);
  await one.click('#take-bench');
  await one.waitForFunction(() => document.querySelector('#over-dialog[open]') || document.getElementById('who').dataset.who === 'drives', null, patience(4000));
  if (await isShown(one, '#over-take')) await one.click('#over-take');
  await until('drives', async () => (await one.getAttribute('#who', 'data-who')) === 'drives', 4000);
  world.check('a driver whose page is closed leaves the bench to others', true);
  await one.click('#leave-bench');
  await until('let go', async () => (await one.getAttribute('#who', 'data-who')) === 'free', 3000);
  await world.leave(one);
}
