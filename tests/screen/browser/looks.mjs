// Without colours, on a phone, on a wall; and the pages to read.
import {kHands, kRelays, Watcher, patience, phase, post, ready, sleep, startRun, text, until, view, wholeRun} from './harness.mjs';
import {axe} from './axe.mjs';
import {simulatedBench, Technician} from './technician.mjs';

const kDeficiencies = ['protanopia', 'deuteranopia', 'tritanopia'];

/// Share of picture points whose grey differs by more than 64 of 255, both parts drawn to one size.
/// A page of nobody's decodes: the screen's own policy lets it load no pictures.
async function greyDifference(world, one, two) {
  world.decoder ??= await (await world.browser.newContext()).newPage();
  return world.decoder.evaluate(async (parts) => {
    const greys = [];
    for (const {picture, box} of parts) {
      const image = new Image();
      image.src = `data:image/png;base64,${picture}`;
      await image.decode();
      const canvas = new OffscreenCanvas(240, 80), drawn = canvas.getContext('2d');
      drawn.drawImage(image, box.x, box.y, box.width, box.height, 0, 0, 240, 80);
      const {data} = drawn.getImageData(0, 0, 240, 80);
      greys.push(Array.from({length: 240 * 80}, (_, k) => 0.2126 * data[4 * k] + 0.7152 * data[4 * k + 1] + 0.0722 * data[4 * k + 2]));
    }
    return greys[0].filter((grey, k) => Math.abs(grey - greys[1][k]) > 64).length / greys[0].length;
  }, [one, two]);
}

/// A picture, and where in it each selector's element is.
async function parts(page, picture, selectors) {
  const out = {};
  for (const [name, selector] of Object.entries(selectors)) out[name] = {picture, box: await page.locator(selector).first().boundingBox()};
  return out;
}

async function underAll(world, page, name, take) {
  const session = await page.context().newCDPSession(page);
  const out = {};
  for (const type of kDeficiencies) {
    await session.send('Emulation.setEmulatedVisionDeficiency', {type});
    out[type] = await take((await world.picture(page, `sight-${name}-${type}`)).toString('base64'));
  }
  await session.send('Emulation.setEmulatedVisionDeficiency', {type: 'none'});
  await session.detach();
  return out;
}

async function verdictPictures(world, page, name) {
  return underAll(world, page, name, async (picture) => {
    const seen = await parts(page, picture, {sign: '#verdict-word .sign', corner: '.verdict-box'});
    Object.assign(seen.corner.box, {width: 200, height: 60});
    return {word: await text(page, '#verdict-word'), shape: await text(page, '#verdict-word .sign'), ...seen};
  });
}

const onPins = (ask) => ask?.kind === 'touch' && [ask.red, ask.black].every((probe) => /^\d+$/.test(probe?.node ?? ''));

/// A page at the first request for two pins, whose technician then has gone for a coffee.
async function pageAtPins(world) {
  const bench = await simulatedBench(world, {name: 'sights'});
  const own = await world.screen('--bench', bench.file, '--profile', 'six-speed-20-pin', '--ledger', 'none');
  const page = await world.page(own.base);
  const watcher = new Watcher(own.base);
  await startRun(page, {serial: 'STILL-1', level: 'static'});
  const say = async (body) => post(own.base, '/answer', body, await page.evaluate(() => sessionStorage.getItem('pinproof.driver')));
  const technician = new Technician(world, bench, watcher, {
    press: async (key, ask) => {
      await sleep(600);  // sooner it would be taken for a slip
      await say({ask: ask.n, key, text: ''});
    },
    answer: (words) => say({ask: watcher.slots.ask.n, key: 'take', text: words}),
    wants: (ask) => !onPins(ask),
  });
  world.check('a request for two pins comes', await technician.work(() => onPins(watcher.slots.ask), 30000));
  watcher.close();
  return page;
}

/// Verdicts and lit pins are told apart by shapes and words under each deficiency of sight.
export async function sights(world, demo) {
  const page = await world.page(demo.base);
  const seen = {};
  await wholeRun(page, {serial: 'HD-2402', bench: kRelays, level: 'static'});
  seen.reject = await verdictPictures(world, page, 'reject');
  await wholeRun(page, {serial: 'HD-2410', bench: kRelays, level: 'static'});
  seen.accept = await verdictPictures(world, page, 'accept');
  const hand = await pageAtPins(world);
  await hand.waitForSelector('#face .lit.red');
  await hand.waitForSelector('#face .lit.black');
  const pins = await underAll(world, hand, 'pins', async (picture) => ({
    letters: await hand.$$eval('#face .flag text', (all) => all.map((t) => t.textContent).sort().join('')),
    shapes: await hand.$$eval('#face .flag', (all) => all.map((f) => f.firstElementChild.localName).sort().join()),
    ...await parts(hand, picture, {red: '#face .flag.red', black: '#face .flag.black', lit: '#face .lit', unlit: '#face .pin:not(.lit)'})}));
  await hand.keyboard.press('Escape');
  await view(hand, 'verdict');
  await phase(hand, 'idle');
  seen.hold = await verdictPictures(world, hand, 'hold');
  await world.leave(hand);
  for (const type of kDeficiencies) {
    const all = ['accept', 'reject', 'hold'].map((name) => seen[name][type]);
    world.check(`${type}: verdicts differ by word and by shape`, new Set(all.map((v) => v.word)).size === 3 && new Set(all.map((v) => v.shape)).size === 3, all.map((v) => v.word));
    const differ = [];
    for (const [a, b] of [[0, 1], [1, 2], [0, 2]])
      differ.push(await greyDifference(world, all[a].sign, all[b].sign), await greyDifference(world, all[a].corner, all[b].corner));
    world.check(`${type}: and in grey, sign and border`, differ.every((d, k) => d > (k % 2 ? 0.05 : 0.08)), differ.map((d) => d.toFixed(3)).join(' '));
    const grey = [await greyDifference(world, pins[type].red, pins[type].black), await greyDifference(world, pins[type].lit, pins[type].unlit)];
    world.check(`${type}: lit pins differ by letter, shape and grey`, pins[type].letters === 'BR' && pins[type].shapes === 'path,rect' && grey[0] > 0.1 && grey[1] > 0.1,
      [pins[type].letters, pins[type].shapes, ...grey.map((g) => g.toFixed(3))]);
  }
  await world.leave(page);
}

// ---- Sizes

const wide = (page) => page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);

async function stopSeen(page) {
  return page.evaluate(() => {
    const box = document.getElementById('stop').getBoundingClientRect();
    const at = document.elementFromPoint(box.left + box.width / 2, box.top + box.height / 2);
    return box.top >= 0 && box.bottom <= innerHeight && box.left >= 0 && box.right <= innerWidth && Boolean(at?.closest('#stop')) && Math.min(box.width, box.height) >= 44;
  });
}

/// Boxes that lie over each other: [one, other, points].
const overlaps = (page) => page.evaluate(() => {
  const boxes = ['ask', 'live', 'face', 'stop', 'progress', 'who'].map((id) => [id, document.getElementById(id).getBoundingClientRect()])
    .filter(([, b]) => b.width > 0 && b.height > 0);
  const out = [];
  boxes.forEach(([one, a], k) => boxes.slice(k + 1).forEach(([two, b]) => {
    const w = Math.min(a.right, b.right) - Math.max(a.left, b.left), h = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
    if (w > 1 && h > 1) out.push([one, two, Math.round(w), Math.round(h)]);
  }));
  // Words that stick out of their box, or are squeezed to a letter in a line.
  const live = document.getElementById('live').getBoundingClientRect();
  for (const id of ['live-shown', 'live-state']) {
    const b = document.getElementById(id).getBoundingClientRect();
    if (live.width > 0 && b.height > 0 && (b.right > live.right + 1 || b.width < 60 || document.getElementById(id).scrollWidth > b.width + 1)) out.push([id, 'out of its box', Math.round(b.width), Math.round(b.height)]);
  }
  return out;
});

const kSizes = [['phone', 320, 640], ['laptop', 1366, 768], ['tablet', 800, 1280], ['wall', 3840, 2160]];

export async function sizes(world, demo) {
  const page = await world.page(demo.base);
  const text_px = {};
  const each = async (name, check) => {
    for (const [size, width, height] of kSizes.filter((s) => check || s[0] !== 'tablet')) {
      await page.setViewportSize({width, height});
      await sleep(120);
      await world.picture(page, `${name}-${size}`);
      world.check(`${name}, ${width} px: no scrolling sideways, STOP in sight`, await wide(page) <= 0 && await stopSeen(page), await wide(page));
      await check?.(size);
    }
    await page.setViewportSize({width: 1366, height: 768});
  };
  if (await page.isVisible('#next-run')) await page.click('#next-run');
  await each('setup');
  await startRun(page, {serial: 'HD-2401', bench: kHands, level: 'static'});
  await until('a live reading', () => page.evaluate(() => document.getElementById('live-shown').textContent && document.querySelector('#face .lit')), 8000);
  await each('asked', async (size) => {
    await until('a live reading', () => page.evaluate(() => document.getElementById('live').offsetHeight > 0 && document.querySelector('#face .lit')), 6000);
    text_px[size] = await page.evaluate(() => ['ask-title', 'ask-text', 'live-shown', 'stop'].map((id) => parseFloat(getComputedStyle(document.getElementById(id)).fontSize)));
    const over = await overlaps(page);
    world.check(`asked, ${size}: nothing lies over another`, over.filter((o) => size !== 'phone' && size !== 'tablet' || !o.includes('stop')).length === 0, over.length ? over : '');
  });
  const {laptop, wall} = text_px;
  // The laptop and the wall stand for arm's length and for several metres.
  for (const [k, id] of ['#ask-title', '#ask-text', '#live-shown'].entries())
    world.check(`on a wall ${id} is twice as large`, wall[k] >= 2 * laptop[k], `${laptop[k].toFixed(1)} px and ${wall[k].toFixed(1)} px`);
  await page.keyboard.press('Escape');
  await view(page, 'verdict');
  await phase(page, 'idle');
  await wholeRun(page, {serial: 'HD-2402', bench: kRelays, level: 'full'});
  await each('reject');
  await page.click('#next-run');
  await startRun(page, {work: 'lever', serial: 'HD-2406', bench: kRelays});
  await page.waitForSelector('#lever:not([hidden])', patience(15000));
  await until('a reading with its uncertainty', () => page.evaluate(() => document.getElementById('live-shown').textContent.includes('±')), 5000);
  const over = await overlaps(page);
  world.check('lever, laptop: nothing lies over another or out of its box', over.length === 0, over.length ? [over, await text(page, '#live-shown')] : '');
  await each('lever');
  await view(page, 'verdict', 30000);
  await each('lever-end');
  await world.leave(page);
}

// ---- Pages to read

export async function pages(world, demo, kept) {
  const page = await world.page(demo.base);
  const id = (report) => report?.split('/').pop();
  const read = [['lots', '/lots'], ['lot', '/lot?name=DEMO-BOX'], ['records', '/records'], ['card', '/card?profile=six-speed-20-pin'],
    ['report', kept.reject], ['compare', `/compare?first=${id(kept.reject)}&second=${id(kept.accept)}`]];
  for (const [name, address] of read) {
    if (!address) {
      world.check(`page ${name}`, false, 'no record was made');
      continue;
    }
    const answer = await page.goto(demo.base + address);
    world.check(`page ${name} answers`, answer.status() === 200 && (await page.textContent('body')).trim().length > 60, address);
    await axe(world, page, `page ${name}`);
    for (const [size, width, height] of [['laptop', 1366, 768], ['phone', 320, 640]]) {
      await page.setViewportSize({width, height});
      await world.picture(page, `page-${name}-${size}`);
      world.check(`page ${name}, ${width} px: no scrolling sideways`, await wide(page) <= 0, await wide(page));
    }
  }
  await world.leave(page);
}
