// Names from outside that would like to be more than names.
import {kRelays, patience, phase, sleep, startRun, until, view} from './harness.mjs';

const kNames = {
  markup: '<img src=x onerror="window.__pwned=1"><script>window.__pwned=2</script><h1 id=verdict-word>ACCEPT</h1>',
  quotes: `"'><svg/onload=window.__pwned=3>\`\${window.__pwned=4}\`' onmouseover='window.__pwned=5`,
  turned: 'HD-\u202ETCEJER\u202C \u2067ACCEPT\u2066 \u200F',
  long: 'W'.repeat(10000),
};

const state = (page) => page.evaluate(() => ({pwned: typeof window.__pwned, images: document.querySelectorAll('img').length,
  scripts: [...document.scripts].filter((s) => s.textContent.includes('pwned')).length, twins: document.querySelectorAll('#verdict-word').length,
  wide: document.documentElement.scrollWidth - document.documentElement.clientWidth,
  handlers: [...document.querySelectorAll('*')].filter((e) => [...e.attributes].some((a) => a.name.startsWith('on'))).length}));
const harmless = (s) => s.pwned === 'undefined' && s.images === 0 && s.scripts === 0 && s.handlers === 0 && s.wide <= 0;

async function read(world, page, base, name, address, what) {
  const reader = await world.page(base, {at: address, context: page.context()});
  const seen = await state(reader);
  world.check(`hostile names (${name}) on the page ${what}`, harmless(seen), harmless(seen) ? '' : seen);
  await world.picture(reader, `hostile-page-${what}${what === 'report' ? `-${name}` : ''}`);
  reader.leaving = true;
  await reader.close();
}

export async function hostile(world, demo) {
  const page = await world.page(demo.base);
  for (const [name, serial] of Object.entries(kNames)) {
    await startRun(page, {serial, lot: serial.slice(0, 3000), note: serial.slice(0, 2000), bench: kRelays, level: 'static'});
    await page.waitForSelector('#checks-list .result', patience(8000)).catch(() => {});
    const running = await state(page);
    await world.picture(page, `hostile-run-${name}`);
    page.expected.add(409);  // it may have ended by itself
    // A lot shows what was inspected to its end: one of them is.
    if (name !== 'markup') await page.click('#stop');
    await view(page, 'verdict');
    await phase(page, 'idle');
    const ended = await state(page);
    const shown = await page.$eval('#verdict-serial .serial bdi', (e) => e.textContent);
    world.check(`hostile serial (${name}): only text, nothing broken`, harmless(running) && harmless(ended) && ended.twins === 1, [running, ended]);
    world.check(`hostile serial (${name}): shown as it is, isolated from its neighbours`,
      name === 'turned' ? shown.includes('TCEJER') : shown === serial.trim(), `${shown.length} of ${serial.trim().length} characters`);
    await world.picture(page, `hostile-end-${name}`);
    await read(world, page, demo.base, name, await page.getAttribute('#report-link', 'href'), 'report');
  }
  // These list all of them.
  const markup = encodeURIComponent(kNames.markup);
  for (const [name, address] of [['lots', '/lots'], ['records', '/records'], ['lot', `/lot?name=${markup}`], ['search', `/records?serial=${markup}`]])
    await read(world, page, demo.base, 'all of them', address, name);
  await world.leave(page);
}
