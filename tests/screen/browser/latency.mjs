// From a message to what is seen, with ten watching. The clock is one: all are this machine.
import {loadavg} from 'node:os';
import {kHands, kSlower, Watcher, patience, post, sleep, soon, startRun, view} from './harness.mjs';
import {simulatedBench} from './technician.mjs';

// Ten watch, but not ten browsers: those would measure this one computer, not the server and the
// page, of which each has a computer of its own.
const kPages = 2, kStreams = 7;  // and the one that keeps the time
const kMost_ms = 100 * kSlower;
const kSpare_ms = 30;  // from here to a drawn frame, on a machine with processors to spare

const quantile = (sorted, q) => sorted[Math.min(sorted.length - 1, Math.floor(q * sorted.length))];

/// Each page notes when a result's row came to be, and when it had been drawn.
const note = (page) => page.evaluate(() => {
  window.__seen = new Map();
  new MutationObserver((changes) => {
    const at = Date.now();
    for (const change of changes)
      for (const node of change.addedNodes) {
        if (node.nodeType !== 1) continue;
        for (const row of node.matches('.result') ? [node] : node.querySelectorAll('.result')) {
          const key = `${row.dataset.check}/${row.querySelector('.result-title').textContent}`;
          if (!window.__seen.has(key)) window.__seen.set(key, at);
        }
      }
  }).observe(document.getElementById('checks-list'), {childList: true, subtree: true});
});

/// How late this machine and its browser are by themselves: from here to a drawn frame of a page that
/// has nothing to do, again and again; what that takes beyond a machine with processors to spare.
function control(page) {
  const late = [];
  let over = false;
  const work = (async () => {
    while (!over) {
      late.push(await page.evaluate((sent) => new Promise((then) => requestAnimationFrame(() => then(Date.now() - sent))), Date.now()));
      await sleep(40);
    }
  })();
  return async () => {
    over = true;
    await work;
    return Math.max(0, quantile(late.sort((a, b) => a - b), 0.99) - kSpare_ms);
  };
}

/// Relays at their own speed, not at the demo's.
export async function latency(world) {
  const bench = await simulatedBench(world, {name: 'latency', connect: 'matrix', speed: 1});
  const {base} = await world.screen('--bench', bench.file, '--profile', 'six-speed-20-pin', '--ledger', 'none');
  const pages = [];
  for (let k = 0; k < kPages; k++) pages.push(await world.page(base));
  const empty = await (await world.browser.newContext()).newPage();
  await Promise.all(pages.map(note));
  const crowd = Array.from({length: kStreams}, () => new Watcher(base));
  const told = new Map();
  const watcher = new Watcher(base);
  watcher.on((name, data, at) => {
    if (name === 'results') for (const r of data.results) if (!told.has(`${r.check}/${r.title}`)) told.set(`${r.check}/${r.title}`, at);
  });
  const once = async (serial) => {
    told.clear();
    for (const page of pages) await page.evaluate(() => window.__seen.clear());
    const lateness = control(empty);
    await startRun(pages[0], {serial, level: 'static'});
    await watcher.until('its verdict', () => watcher.all('verdict').some((v) => v.serial === serial), 60000);
    await Promise.all(pages.map((page) => view(page, 'verdict', 60000)));
    const machine_ms = await lateness();
    await sleep(200);
    const late = [];
    let missing = 0;
    for (const page of pages) {
      const seen = new Map(await page.evaluate(() => [...window.__seen]));
      for (const [key, at] of told) {
        if (seen.has(key)) late.push(Math.max(0, seen.get(key) - at));
        else missing++;
      }
    }
    late.sort((x, y) => x - y);
    const p99 = quantile(late, 0.99), most_ms = kMost_ms + 2 * machine_ms;  // there are twice as many hands
    return {late, missing, good: p99 < most_ms, figures: `p50 ${quantile(late, 0.5)} ms, p99 ${p99} ms of ${most_ms} ms, worst ${late.at(-1)} ms, ${late.length} rows; the machine's own p99 ${machine_ms} ms, load ${loadavg()[0].toFixed(1)}`};
  };
  // The first run compiles the page's scripts; and this machine may be busy with something else.
  await once('LATE-0');
  const rounds = [];
  for (let k = 1; k <= 3 && !rounds.at(-1)?.good; k++) rounds.push(await once(`LATE-${k}`));
  const last = rounds.at(-1);
  world.check('from a message to the page, ten watching: p99 below 100 ms beside the machine\'s own', last.late.length > 100 && last.good, rounds.map((r) => r.figures).join(' | '));
  world.check('and every page shows every result', last.missing === 0, `${last.missing} missing`);
  for (const one of [watcher, ...crowd]) one.close();
  for (const page of pages) await world.leave(page);
  await empty.context().close();
}

/// Seven windows of one browser: it opens six connections to a server of HTTP/1.1, and each window
/// holds one. STOP has to get through all the same.
export async function manyWindows(world, demo) {
  const first = await world.page(demo.base);
  first.expected.add(409);  // a STOP that was kept waiting comes after the run
  await startRun(first, {serial: 'HD-2401', bench: kHands, level: 'static'});
  for (let k = 0; k < 6; k++)
    await world.page(demo.base, {context: first.context(), wait: false}).catch(() => {});
  await sleep(500);
  await first.bringToFront();
  const begin = Date.now();
  await first.click('#stop');
  const idle = await soon(first, 3000, () => first.waitForSelector('body[data-phase=idle]', patience(3000)), begin);
  const stopped = await first.getAttribute('body', 'data-phase') === 'idle';
  const ended = stopped && await first.evaluate(() => /stopped/i.test(document.getElementById('verdict').textContent));
  world.check('STOP gets through with seven windows of one browser open', ended && idle.good, idle.says);
  if (!stopped) await post(demo.base, '/stop', {});
  const token = await first.evaluate(() => sessionStorage.getItem('pinproof.driver'));
  await post(demo.base, '/release', {}, token);
  for (const page of first.context().pages()) page.leaving = true;
  await first.context().close();
}
