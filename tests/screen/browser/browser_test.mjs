// The live screen in a real browser against the real program.
// Usage: browser_test.mjs PINPROOF SOURCES WORK_FOLDER CHROMIUM PROFILE_FOLDER [PART...]
import {World, kSlower} from './harness.mjs';
import * as works from './works.mjs';
import * as hands from './hands.mjs';
import * as rights from './rights.mjs';
import * as keys from './keys.mjs';
import * as looks from './looks.mjs';
import {hostile} from './hostile.mjs';
import {latency, manyWindows} from './latency.mjs';

const [program, sources, work, chromium, profile, ...only] = process.argv.slice(2);
const world = new World(program, sources, work, chromium, profile);

async function part(name, run) {
  if (only.length && !only.includes(name)) return;
  const own = world.part();
  const begin = Date.now();
  try {
    await run(own);
  } catch (error) {
    own.check(`${name} came to its end`, false, String(error.stack ?? error).slice(0, 900));
    await putRight(own, name);
  }
  console.log(`      ${name}: ${((Date.now() - begin) / 1000).toFixed(1)} s`);
}

// The next part finds a bench that is idle and free.
async function putRight(own, name) {
  let n = 0;
  for (const page of [...own.pages]) {
    await own.picture(page, `broken-${name}-${++n}`).catch(() => {});
    if (await page.getAttribute('body', 'data-phase').catch(() => 'idle') === 'busy') {
      page.expected.add(409);
      await page.click('#stop').catch(() => {});
      await page.waitForSelector('body[data-phase=idle]').catch(() => {});
    }
    await own.leave(page).catch(() => {});
  }
}

async function lane(parts) {
  const demo = await world.screen('--demo');
  for (const [name, run] of parts) await part(name, (own) => run(own, demo));
}

// Most of a run is waiting for relays, so several go side by side; what is timed goes alone.
// A sanitizer's build keeps the processors busy by itself: one after the other.
const sideBySide = kSlower === 1 ? (lanes) => Promise.all(lanes.map((parts) => lane(parts)))
  : async (lanes) => { for (const parts of lanes) await lane(parts); };

async function all() {
  const kept = {};  // addresses of records, for the pages to read
  await sideBySide([
    [['inspections', (w, d) => works.inspections(w, d, kept)], ['pages', (w, d) => looks.pages(w, d, kept)],
      ['levers', works.levers], ['diagnosis', works.diagnosis], ['keyboard', keys.keyboard]],
    [['sights', looks.sights], ['sizes', looks.sizes], ['hostile', hostile], ['scanner', keys.scanner]],
    [['reloaded', rights.reloaded], ['watchers', rights.watchers],
      ['ownTechnician', hands.ownTechnician], ['manyWindows', manyWindows], ['demoHands', hands.demoHands]],
  ]);
  await lane([['stops', rights.stops], ['latency', latency]]);
}

const begin = Date.now();
try {
  await world.open();
  await all();
} catch (error) {
  world.check('the test came to its end', false, String(error.stack ?? error));
}
world.check('no page complained: console, CSP, requests, dialogs', world.faults.length === 0, [...new Set(world.faults)].slice(0, 8));
await world.close();
const took_s = (Date.now() - begin) / 1000;
const {checked, failed} = world.count;
// Once more at the end: a log of this length is often read, or kept, from there.
for (const line of failed) console.log(line);
console.log(`${checked - failed.length} of ${checked} checks hold, ${took_s.toFixed(0)} s`);
process.exit(failed.length ? 1 : 0);
