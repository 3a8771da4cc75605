// A technician who does to a simulated bench what the screen asks for: holds the probes to the
// pins (its relays), moves the lever, applies air. Keys are pressed by whoever is given as `press`.
import {existsSync, readFileSync, writeFileSync} from 'node:fs';
import net from 'node:net';
import path from 'node:path';
import {kProfile, patience, sleep, until} from './harness.mjs';

/// One SCPI conversation.
class Line {
  constructor(port) {
    this.socket = net.connect(port, '127.0.0.1');
    this.socket.setNoDelay(true);
    this.waiting = [];
    this.socket.on('data', (data) => {
      for (const _ of String(data).trim().split('\n')) this.waiting.shift()?.();
    });
    this.socket.on('error', () => {});
  }
  tell(message) {
    return new Promise((then) => {
      this.waiting.push(then);
      this.socket.write(`${message};*OPC?\n`);
    });
  }
}

let nextPort = 20000 + (process.pid * 131) % 9000;

const isFree = (port) => new Promise((then) => {
  const server = net.createServer();
  server.once('error', () => then(false));
  server.listen(port, '127.0.0.1', () => server.close(() => then(true)));
});

async function fivePorts() {
  for (;; nextPort += 5) {
    const free = await Promise.all([0, 1, 2, 3, 4].map((k) => isFree(nextPort + k)));
    if (free.every(Boolean)) return (nextPort += 5) - 5;
  }
}

/// A simulated bench; its bench file is for relays ("matrix") or for two probes ("hand").
export async function simulatedBench(world, {name, connect = 'hand', faults = [], seed = 7, speed = 0}) {
  const file = path.join(world.work, `${name}.json`), account = path.join(world.work, `${name}.account`);
  const first = await fivePorts();
  await world.run(['simulate', '--profile', kProfile, '--seed', String(seed), '--speed', String(speed), '--port', String(first),
    '--bench-file', file, '--connect', connect, '--account', account, ...faults.flatMap((f) => ['--fault', f])],
  (said) => said.includes('Ctrl-C') && existsSync(file));
  if (connect === 'hand') {
    const bench = JSON.parse(readFileSync(file, 'utf8'));
    bench.fixture.dwell_s = 0.02;  // a simulated hand does not tremble
    writeFileSync(file, JSON.stringify(bench));
  }
  const output = () => readFileSync(account, 'utf8').trim().split('\n').filter(Boolean).map((line) => JSON.parse(line));
  return {name, file, output, matrix: new Line(first + 1), actuator: new Line(first + 4)};
}

export class Technician {
  constructor(world, bench, watcher, {press, answer, wants = () => true}) {
    Object.assign(this, {bench, watcher, press, answer, wants});
    const profile = JSON.parse(readFileSync(path.join(world.sources, 'profiles', `${kProfile}.json`), 'utf8'));
    const pins = profile.connector.pins.map((pin) => pin.number);
    this.columns = new Map([...pins, 'case', 'reference+', 'reference-', 'high reference+', 'high reference-'].map((pin, k) => [pin, k + 1]));
    this.positions = profile.lever.positions.map((p) => p.name);
    this.elements = [...new Set(profile.parts.filter((p) => p.kind === 'switch').map((p) => p.element))];
    this.done = 0;
  }

  async obey(ask) {
    if (ask.kind === 'touch') return this.touch(ask);
    if (ask.kind === 'text') return this.answer('23');
    if (ask.kind === 'do' && await this.handle(ask.title)) return this.press('take', ask);
  }

  async touch(ask) {
    await this.bench.matrix.tell('ROUT:OPEN:ALL');
    const red = this.columns.get(ask.red?.node), black = this.columns.get(ask.black?.node);
    if (red === undefined || black === undefined) return this.press('take', ask);  // apart
    await this.lifted(ask);
    await this.bench.matrix.tell(`ROUT:CLOS (@1!${red},2!${black})`);
    // Most take themselves. What is open, or not as expected, wants the key.
    await until('taken, or the key is wanted', () => this.now() !== ask.n || this.keyWanted(ask.n), 4000, 5).catch(() => {});
    if (this.now() === ask.n) await this.press('take', ask);
  }

  /// Until the meter has seen that the probes came off.
  lifted(ask) {
    return until('the probes are off', () => this.now() !== ask.n || /^open/.test(this.watcher.slots.live?.state ?? ''), 1500, 5).catch(() => {});
  }
  now() { return this.watcher.slots.ask?.n; }
  keyWanted(n) {
    const live = this.watcher.slots.live;
    return live?.ask === n && /take it/.test(live.state) && (this.on ??= Date.now()) && Date.now() - this.on > 120;
  }

  async handle(title) {
    const lever = /^Move the lever to (.+)\.$/.exec(title);
    if (lever) await this.bench.actuator.tell(`POS ${this.positions.indexOf(lever[1])}`);
    else if (title.startsWith('Shut the air off')) await this.bench.actuator.tell('ROUT:OPEN:ALL');
    else if (title.startsWith('Apply ')) {
      const kPa = Number(/Apply ([0-9.]+) kPa/.exec(title)[1]);
      const valves = /of air to (.*?) and hold/.exec(title)[1].split(' and ').map((name) => this.elements.indexOf(name) + 1);
      await this.bench.actuator.tell(`ROUT:OPEN:ALL;:PRES ${1000 * kPa};:ROUT:CLOS (@${valves.join(',')})`);
    } else if (/^Warm the pack|^Let the pack cool/.test(title)) await this.bench.actuator.tell(`SIM:SOAK ${title.startsWith('Warm') ? 1 : 0}`);
    return true;
  }

  /// Until `over()`; asks that `wants` refuses are left to the test.
  async work(over, within_ms) {
    const end = Date.now() + patience(within_ms).timeout;
    let last = 0;
    while (!over() && Date.now() < end) {
      const ask = this.watcher.slots.ask;
      if (!ask || ask.kind === 'none' || ask.kind === 'look' || ask.n === last) {
        await sleep(5);
        continue;
      }
      last = ask.n;
      this.on = undefined;
      if (await this.wants(ask) === false) continue;
      await this.obey(ask);
      this.done++;
    }
    return over();
  }
}
