// The live screen in a real browser against the real program.
// Usage: browser_test.mjs PINPROOF SOURCES WORK_FOLDER CHROMIUM PROFILE_FOLDER [PART...]
import {World} from './harness.mjs';
import * as works from './works.mjs';
import * as hands from './hands.mjs';
import * as rights from './rights.mjs';
import * as keys from './keys.mjs';
import * as looks from './looks.mjs';
import {hostile} from './hostile.mjs';
import {latency, manyWindows} from './latency.mjs';

const [program, sources, work, chromium, profile, ...only] = process.argv.slice(2);
const world = new World(program, sources, work, chromium, profile);
const kept = {};  // addresses of records, for the pages to read

async function part(name, run) {
  if (only.length && !only.includes(name)) return;
  const begin = Date.now();
  try {
    await run();
  } catch (error) {
    world.check(`${name} came to its end`, false, String(error.stack ?? error).slice(0, 900));
    let n = 0;
    for (const page of [...world.pages]) {
      await world.picture(page, `broken-${name}-${++n}`).catch(() => {});
      if (await page.isVisible('#stop').catch(() => false) && await page.getAttribute('body', 'data-phase') !== 'idle') {
        await page.click('#stop').catch(() => {});
        await page.waitForSelector('body[data-phase=idle]').catch(() => {});
      }
      await world.leave(page).catch(() => {});
    }
  }
  console.log(`      ${name}: ${((Date.now() - begin) / 1000).toFixed(1)} s`);
}

async function all() {
  const demo = await world.screen('--demo');
  await part('inspections', () => works.inspections(world, demo, kept));
  await part('levers', () => works.levers(world, demo));
  await part('diagnosis', () => works.diagnosis(world, demo));
  await part('stops', () => rights.stops(world));
  await part('reloaded', () => rights.reloaded(world, demo));
  await part('watchers', () => rights.watchers(world, demo));
  await part('scanner', () => keys.scanner(world, demo));
  await part('keyboard', () => keys.keyboard(world, demo));
  await part('pages', () => looks.pages(world, demo, kept));
  await part('sights', () => looks.sights(world, demo));
  await part('sizes', () => looks.sizes(world, demo));
  await part('hostile', () => hostile(world, demo));
  await part('latency', () => latency(world, demo));
  await part('manyWindows', () => manyWindows(world, demo));
  await part('ownTechnician', () => hands.ownTechnician(world));
  await part('demoHands', () => hands.demoHands(world, demo));
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
console.log(`${world.checked - world.failed} of ${world.checked} checks hold, ${took_s.toFixed(0)} s`);
process.exit(world.failed ? 1 : 0);
