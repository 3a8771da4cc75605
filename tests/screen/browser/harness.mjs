// The program, the browser and what both are asked: shared by all parts of the test.
import {spawn} from 'node:child_process';
import {mkdirSync, rmSync} from 'node:fs';
import {createRequire} from 'node:module';
import http from 'node:http';
import path from 'node:path';

export const kRelays = 'bench with relays (simulated)';
export const kHands = 'meter and two probes (simulated)';
export const kProfile = 'six-speed-20-pin';

// As for a machine without a display; a profile of its own goes by the launch.
const kFlags = ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run',
  '--disable-background-networking', '--disable-component-update', '--disable-sync'];

// A sanitizer's build: what takes longer there may.
export const kSlower = Number(process.env.PINPROOF_TEST_SLOWER ?? 1);
// Waiting ends only for a test that hangs: a machine with too much to do takes its time. What has to
// be soon is measured, see soon().
const kBusy = 6;
export const patience = (ms) => ({timeout: ms * kBusy * kSlower});

export const sleep = (ms) => new Promise((then) => setTimeout(then, ms));

export async function until(what, test, within_ms = 5000, every_ms = 15) {
  const end = Date.now() + patience(within_ms).timeout;
  for (;;) {
    const got = await test();
    if (got) return got;
    if (Date.now() > end) throw new Error(`waited ${within_ms} ms for: ${what}`);
    await sleep(every_ms);
  }
}

export class World {
  constructor(program, sources, work, chromium, profile) {
    Object.assign(this, {program, sources, work, chromium, profile});
    this.count = {checked: 0, failed: []};
    this.faults = [];      // of pages: what none of them may say
    this.pages = new Set();
    this.ends = [];        // programs that run
    this.pictures = path.join(work, 'pictures');
    rmSync(this.pictures, {recursive: true, force: true});
    mkdirSync(this.pictures, {recursive: true});
    this.require = createRequire(path.join(work, 'package.json'));
  }

  check(what, good, detail = '') {
    this.count.checked++;
    const said = typeof detail === 'string' ? detail : JSON.stringify(detail);
    const line = `${good ? 'ok    ' : 'FAIL  '}${what}${said ? `: ${said.slice(0, 600)}` : ''}`;
    if (!good) this.count.failed.push(line);
    console.log(line);
    return Boolean(good);
  }

  /// The same world for one part of the test, with pages of its own.
  part() { return Object.assign(Object.create(World.prototype), this, {pages: new Set()}); }

  async open() {
    const {chromium} = this.require('playwright-core');
    this.browser = await chromium.launch({executablePath: this.chromium, headless: true, args: kFlags,
      env: {...process.env, HOME: this.profile, TMPDIR: this.profile, XDG_CONFIG_HOME: this.profile}});
  }

  async close() {
    await this.browser?.close();
    for (const end of this.ends) end();
  }

  /// A program that runs until the end of the test; -> its first lines of output, by `ready`.
  run(args, ready) {
    const child = spawn(this.program, args, {stdio: ['ignore', 'pipe', 'pipe']});
    const end = () => { if (child.exitCode === null) child.kill('SIGINT'); };
    this.ends.push(end);
    let said = '';
    return new Promise((then, fail) => {
      child.stdout.on('data', (more) => {
        said += more;
        const got = ready(said);
        if (got) then({got, end, child});
      });
      child.stderr.on('data', (more) => {
        said += more;
        if (/Sanitizer|runtime error:/.test(more)) this.faults.push(`${args[0]} says: ${String(more).slice(0, 400)}`);
      });
      child.on('exit', (code) => fail(new Error(`${args.join(' ')} ended (${code}): ${said.slice(-400)}`)));
    });
  }

  async screen(...args) {
    const {got, end, child} = await this.run(['screen', '--json', ...(args.includes('--port') ? [] : ['--port', '0']), ...args],
      (said) => /"url":"(.*)\/"/.exec(said)?.[1]);
    return {base: got, end, kill: (signal = 'SIGKILL') => child.kill(signal)};
  }

  /// A browser of its own (context) with one page, whose every complaint is kept.
  async page(base, {width = 1366, height = 768, dark = false, context = null, at = '/', wait = true} = {}) {
    const own = context ?? await this.browser.newContext({viewport: {width, height},
      colorScheme: dark ? 'dark' : 'light', reducedMotion: 'reduce'});
    own.setDefaultTimeout(patience(10000).timeout);
    const page = await own.newPage();
    page.expected = new Set();  // HTTP statuses, and paths given up, that this test asks for
    this.pages.add(page);
    this.listen(page);
    await page.addInitScript(() => {
      window.addEventListener('securitypolicyviolation', (e) =>
        console.error(`CSP: ${e.violatedDirective} ${e.blockedURI} ${e.sample}`));
    });
    // One that is not waited for may find no connection: the run goes on meanwhile.
    await page.goto(base + at, wait ? {} : {timeout: 20000});
    if (at === '/' && wait) await ready(page);
    return page;
  }

  listen(page) {
    const fault = (what) => this.faults.push(`${what} (${page.url().replace(/^http:..[^/]*/, '')})`);
    page.on('pageerror', (error) => fault(`exception: ${error.message}`));
    page.on('console', (message) => {
      if (!['error', 'warning'].includes(message.type())) return;
      const status = Number(/responded with a status of (\d+)/.exec(message.text())?.[1]);
      if (page.expected.has(status) || (page.leaving && message.text().includes('net::ERR_'))) return;
      fault(`console ${message.type()}: ${message.text()} ${message.location().url}`);
    });
    // A page that goes or is loaded again cuts off its own stream and whatever was under way then.
    const underWay = new Set(), cutOff = new WeakSet();
    page.on('request', (request) => {
      if (request.isNavigationRequest() && request.frame() === page.mainFrame())
        for (const one of underWay) cutOff.add(one);
      underWay.add(request);
    });
    page.on('requestfinished', (request) => underWay.delete(request));
    page.on('requestfailed', (request) => {
      underWay.delete(request);
      const why = request.failure()?.errorText;
      if (page.leaving || (why === 'net::ERR_ABORTED' &&
          (cutOff.has(request) || request.url().includes('/events') || page.expected.has(new URL(request.url()).pathname)))) return;
      fault(`request failed: ${request.url()} ${why}`);
    });
    page.on('dialog', (dialog) => {
      fault(`a dialog came up: ${dialog.message()}`);
      dialog.dismiss().catch(() => {});
    });
    page.on('close', () => this.pages.delete(page));
  }

  async picture(page, name) {
    // Without the style that hides the caret: the page's own policy forbids it.
    return page.screenshot({path: path.join(this.pictures, `${name}.png`), caret: 'initial'});
  }

  /// Lets go of the bench first, but for one who just walks away.
  async leave(page, {abrupt = false} = {}) {
    // A verdict is shown a moment before the bench is free, and only then can it be left.
    if (!abrupt) await phase(page, 'idle').catch(() => {});
    if (!abrupt && await page.isVisible('#leave-bench').catch(() => false)) {
      await page.click('#leave-bench');
      await page.waitForSelector('#leave-bench', {state: 'hidden'}).catch(() => {});
    }
    page.leaving = true;
    await page.context().close();
  }
}

// ---- What has to be soon

/// How late this machine is by itself, in ms: the longest of a few frames that have nothing to draw,
/// less what they take on one with processors to spare.
async function ownLateness(page) {
  const kFrames = 5, kSpare_ms = 30;
  let longest = 0;
  for (let k = 0; k < kFrames; k++) {
    const begin = Date.now();
    await page.evaluate(() => new Promise((then) => { document.hidden ? setTimeout(then) : requestAnimationFrame(then); }));
    longest = Math.max(longest, Date.now() - begin);
  }
  return Math.max(0, longest - kSpare_ms);
}

/// Whether what is waited for comes, and within `most_ms` beside what the machine is late by itself:
/// from the key to the page there are a few hands to go through. -> {good, says}
export async function soon(page, most_ms, wait, begin = Date.now()) {
  const kHands = 6;
  const came = await wait().then((got) => got !== false, () => false);
  const took_ms = Date.now() - begin;
  const allowed_ms = most_ms * kSlower + kHands * await ownLateness(page);
  return {good: came && took_ms < allowed_ms, took_ms,
    says: `${came ? `${took_ms} ms` : 'never'}, ${most_ms} ms beside ${Math.round(allowed_ms - most_ms * kSlower)} ms of the machine`};
}

// ---- What a person does on the page

/// The state comes with the first of the log, the end of a long run with the last of it.
export const ready = (page) => page.waitForFunction(async () => {
  const {ending, model} = await import('/page/model.js');
  return document.body.dataset.phase === 'idle' && document.querySelector('#profile option') && (!model.log.run || ending());
}, null, patience(20000));
export const phase = (page, name, timeout = 10000) =>
  page.waitForSelector(`body[data-phase=${name}]`, patience(timeout));
export const view = (page, name, timeout = 30000) =>
  page.waitForSelector(`body[data-view=${name}]`, patience(timeout));
export const text = (page, selector) => page.textContent(selector).then((t) => t.trim());
export const isShown = (page, selector) => page.isVisible(selector);

export async function choose(page, {work = 'inspect', level, bench, serial, lot, codes, note, celsius}) {
  await page.check(`#work-${work}`);
  if (level) await page.check(`#level-${level}`);
  if (bench) await page.selectOption('#bench', bench);
  for (const [id, value] of Object.entries({serial, lot, codes, note, celsius}))
    if (value !== undefined) await page.fill(`#${id}`, value);
}

export async function startRun(page, wanted) {
  if (await page.getAttribute('body', 'data-view') === 'verdict') await nextPack(page);  // of somebody's run before
  await choose(page, wanted);
  await page.click('#start');
  await page.waitForFunction(() => document.body.dataset.view === 'now', null, patience(10000));
}

/// A run from the choice to its end, by the mouse.
export async function wholeRun(page, wanted, within_ms = 40000) {
  await startRun(page, wanted);
  await view(page, 'verdict', within_ms);
  return text(page, '#verdict-word');
}

export async function nextPack(page) {
  await page.click('#next-run');
  await view(page, 'setup');
  await phase(page, 'idle');
}

// ---- A watcher without a browser

export class Watcher {
  constructor(base) {
    this.log = [];
    this.slots = {};
    this.resets = 0;
    this.listeners = [];
    this.request = http.get(`${base}/events?screen=${'00112233445566778899'}`, (answer) => {
      answer.setEncoding('utf8');
      let held = '';
      answer.on('data', (more) => {
        const at = Date.now();
        held += more;
        for (let cut; (cut = held.indexOf('\n\n')) >= 0; held = held.slice(cut + 2)) this.take(held.slice(0, cut), at);
      });
      answer.on('error', () => {});
    });
    this.request.on('error', () => {});
  }

  take(block, at) {
    const field = (name) => new RegExp(`^${name}: (.*)$`, 'm').exec(block)?.[1];
    const name = field('event');
    if (!name) return;
    const data = JSON.parse(field('data') ?? 'null');
    if (name === 'reset') {
      this.resets++;
      this.log = [];
    } else if (field('id')) this.log.push({name, data, at});
    else this.slots[name] = data;
    for (const hear of this.listeners) hear(name, data, at);
  }

  all(name) { return this.log.filter((line) => line.name === name).map((line) => line.data); }
  on(hear) { this.listeners.push(hear); }
  until(what, test, within_ms) { return until(what, () => test(this), within_ms, 5); }
  close() { this.request.destroy(); }
}

export async function post(base, to, body, token) {
  const answer = await fetch(base + to, {method: 'POST', body: JSON.stringify(body),
    headers: {'Content-Type': 'application/json', ...(token ? {'X-Pinproof-Driver': token} : {})}});
  return {status: answer.status, body: await answer.json()};
}
