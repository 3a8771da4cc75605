// Whole runs by relays: a faulty pack, a good one, the static level; the lever; a diagnosis.
import {kRelays, isShown, nextPack, patience, phase, startRun, text, until, view, wholeRun} from './harness.mjs';
import {axe} from './axe.mjs';

const kEnds = '#verdict';

/// Notes what the page shows as the end, whenever it does.
export const watchEnds = (page) => page.evaluate(() => {
  window.__ends = [];
  new MutationObserver(() => {
    const {view, phase} = document.body.dataset;
    const now = view === 'verdict' ? document.getElementById('verdict-word').textContent.trim() : '';
    if (now !== (window.__ends.at(-1)?.[0] ?? '')) window.__ends.push([now, phase]);
  }).observe(document.body, {attributes: true, subtree: true, childList: true});
});

export async function endsOnce(world, page, name) {
  const ends = await page.evaluate(() => window.__ends);
  world.check(`${name}: no end is shown before the end`, ends.length <= 1, ends);
}

async function linksOf(world, page, name) {
  const report = await page.getAttribute('#report-link', 'href');
  const label = await page.getAttribute('#label-link', 'href');
  const context = page.context();
  const [opened] = await Promise.all([context.waitForEvent('page'), page.click('#report-link')]);
  world.listen(opened);
  opened.expected = new Set();
  await opened.waitForLoadState();
  world.check(`${name}: the report link opens the report`, opened.url().endsWith(report) &&
    (await opened.textContent('body')).includes('HD-24'), report);
  await world.picture(opened, `report-${name}`);
  await opened.close();
  const answer = await fetch(new URL(label, page.url()));
  const drawn = await answer.text();
  world.check(`${name}: the label link is an SVG`, answer.headers.get('content-type').startsWith('image/svg+xml') &&
    /^(<\?xml[^>]*>\s*)?<svg[\s>]/.test(drawn) && drawn.trim().endsWith('</svg>'), drawn.slice(0, 60));
  return report;
}

export async function inspections(world, demo, kept) {
  const page = await world.page(demo.base);
  await world.picture(page, 'setup');
  await axe(world, page, 'setup');
  await startRun(page, {serial: 'HD-2402', bench: kRelays, level: 'full', lot: 'DEMO-BOX'});
  await page.waitForSelector('#face .lit');
  await world.picture(page, 'run-early');
  const looked = await until('a look whose pins are lit', () => page.evaluate(() => {
    const wanted = [...document.querySelectorAll('#ask .probe')].flatMap((p) => p.dataset.nodes.split(' '));
    const lit = [...document.querySelectorAll('#face .lit')].map((p) => p.dataset.pin);
    return wanted.length > 1 && wanted.every((n) => lit.includes(n)) && lit.every((n) => wanted.includes(n)) && wanted;
  }), 8000);
  world.check('relays: the pins of the look are lit', looked.length >= 2, looked);
  await page.waitForSelector('#captures:not([hidden]) svg', patience(20000)).catch(() => {});
  await world.picture(page, 'run-capture');
  await axe(world, page, 'running');
  await view(page, 'verdict', 40000);
  await phase(page, 'idle');
  const word = await text(page, '#verdict-word');
  world.check('a pack with an open coil: REJECT', word.includes('REJECT') &&
    await page.getAttribute(kEnds, 'data-verdict') === 'reject', word);
  const findings = await page.$$eval('#verdict-findings .finding', (all) => all.map((f) => [f.dataset.kind, f.textContent]));
  world.check('with the finding in words', findings.some(([kind, said]) => kind === 'coil-open' && said.includes('Coil B')), findings.map((f) => f[0]));
  const crossed = await page.$$eval('#verdict-face .pin.fail', (all) => all.map((p) => p.dataset.pin).sort());
  world.check('and its pins crossed on the face', crossed.join() === '1,3', crossed);
  world.check('every result has a word and a shape', await page.$$eval('#checks-list .result .chip', (all) =>
    all.length > 20 && all.every((c) => c.textContent.trim().length > 3)));
  await world.picture(page, 'verdict-reject');
  await axe(world, page, 'verdict reject');
  kept.reject = await linksOf(world, page, 'reject');
  await nextPack(page);

  await wholeRun(page, {serial: 'HD-2401', bench: kRelays, level: 'full', lot: 'DEMO-BOX'});
  world.check('a good pack: ACCEPT, level full', (await text(page, '#verdict-word')).includes('ACCEPT') &&
    await text(page, '#verdict-level') === 'level full', await text(page, '#verdict-count'));
  world.check('and nothing found', await page.$$eval('#verdict-findings .finding', (all) => all.length) === 0);
  await world.picture(page, 'verdict-accept');
  await axe(world, page, 'verdict accept');
  kept.accept = await linksOf(world, page, 'accept');
  await nextPack(page);

  await wholeRun(page, {serial: 'HD-2410', bench: kRelays, level: 'static', lot: 'DEMO-BOX'});
  world.check('without driving coils: ACCEPT, level static', (await text(page, '#verdict-word')).includes('ACCEPT') &&
    await isShown(page, '#verdict-level') && await text(page, '#verdict-level') === 'level static', await text(page, '#verdict-level'));
  await world.leave(page);
}

async function leverRun(world, demo, serial) {
  const page = await world.page(demo.base);
  await startRun(page, {work: 'lever', serial, bench: kRelays});
  await page.waitForSelector('#lever:not([hidden]) .lever-position.here', patience(15000));
  await world.picture(page, `lever-run-${serial}`);
  if (serial === 'HD-2406') await axe(world, page, 'lever running');
  // What the page says of each line is what the server read: place by place.
  const lines = await page.$$eval('#lever-lines .line-box', (all) => all.map((box) => [box.dataset.contact, box.dataset.bit]));
  const odd = lines.filter(([, bit]) => !['0', '1', 'w', 'x', '?', '.'].includes(bit));
  world.check(`lever of ${serial}: each line box shows a bit`, lines.length === 7 && odd.length === 0, lines);
  await view(page, 'verdict', 30000);
  return page;
}

export async function levers(world, demo) {
  let page = await leverRun(world, demo, 'HD-2406');
  const hazard = await page.$eval('#hazard', (e) => ({role: e.getAttribute('role'), text: e.textContent, height: e.offsetHeight}));
  world.check('a lever that starts in gear: the hazard is told as an alert', hazard.role === 'alert' && hazard.height > 20 &&
    hazard.text.includes('DANGER') && hazard.text.length > 80, hazard);
  world.check('and the verdict is reject', await page.getAttribute(kEnds, 'data-verdict') === 'reject');
  const wrong = await page.$$eval('#lever-table tbody tr', (all) => all.map((row) => [row.dataset.position, row.lastChild.textContent.trim()]));
  world.check('with the wrong positions told in the table', wrong.some((r) => r[1].includes('wrong')) && wrong.some((r) => r[1].includes('right')), wrong);
  await world.picture(page, 'lever-hazard');
  await axe(world, page, 'lever hazard');
  await nextPack(page);
  world.check('the hazard goes with its pack', await page.$eval('#hazard', (e) => e.offsetHeight) === 0);
  await world.picture(page, 'setup-after-hazard');
  await world.leave(page);
  page = await leverRun(world, demo, 'HD-2401');
  world.check('a good lever: no hazard', await page.$eval('#hazard', (e) => e.textContent) === '');
  const verdict = await page.getAttribute(kEnds, 'data-verdict');
  world.check('and not rejected', verdict === 'accept' || verdict === 'hold', [verdict, await text(page, '#verdict-why')]);
  await world.picture(page, 'lever-good');
  await world.leave(page);
}

export async function diagnosis(world, demo) {
  const page = await world.page(demo.base);
  await startRun(page, {work: 'diagnose', serial: 'HD-2404', bench: kRelays, codes: 'P0706'});
  await watchEnds(page);
  await page.waitForSelector('.explanation');
  const next = await until('a next probe', () => page.$eval('#ranking-more', (e) => /Next probe(.+)/.exec(e.textContent)?.[1]), 10000);
  world.check('diagnosis: the next probe is named', next.length > 10, next.slice(0, 120));
  await world.picture(page, 'diagnosis-run');
  await axe(world, page, 'diagnosis running');
  await phase(page, 'idle', 40000);
  await view(page, 'verdict');
  await endsOnce(world, page, 'diagnosis');
  const bars = await page.$$eval('.explanation', (all) => all.map((e) => [Number(e.dataset.probability), e.querySelector('.percent').textContent,
    e.querySelector('.share').getBoundingClientRect().width, e.textContent]));
  world.check('diagnosis: bars, likeliest first', bars.length > 0 && bars.every((b, k) => k === 0 || (b[0] <= bars[k - 1][0] && b[2] <= bars[k - 1][2] + 0.5)),
    bars.slice(0, 3).map((b) => b.slice(0, 3)));
  world.check('the fault that is there leads', bars[0][0] > 0.9 && bars[0][3].includes('ground wire'), bars[0][3]);
  world.check('and ends in words', (await text(page, '#verdict-word')).includes('FAULT FOUND') &&
    (await text(page, '#verdict-why')).includes('ground wire'), await text(page, '#verdict-why'));
  world.check('with its pins on the face', (await page.$$eval('#verdict-face .pin.fail', (all) => all.map((p) => p.dataset.pin))).includes('20'));
  await world.picture(page, 'diagnosis-end');
  await axe(world, page, 'diagnosis end');
  await world.leave(page);
}
