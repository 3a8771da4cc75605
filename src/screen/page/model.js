// What the page knows: the log of one run as data, and the newest value of every slot.

const kSlots = ['offer', 'state', 'progress', 'ask', 'live', 'sound', 'lever_table', 'lever_live', 'ranking'];
const kCaptures = 60;  // kept for looking at; a run has a few per coil

function emptyRun() {
  return {
    run: null, readings: 0, lastReading: null, captures: [], skipped: [], said: [], told: [], trouble: [],
    results: new Map(), findings: new Map(), marks: new Map(), finished: null, verdict: null, failed: null,
    lever: null,
  };
}

export const model = {log: emptyRun(), slots: Object.fromEntries(kSlots.map((name) => [name, null]))};

const take = {
  run(log, data) { log.run = data; },
  reading(log, data) { log.readings++; log.lastReading = data; },
  capture(log, data) {
    log.captures.push({...data, marks: [], text: ''});
    if (log.captures.length > kCaptures) log.captures.shift();
  },
  marks(log, data) {
    const of = log.captures.findLast?.((c) => (c.coils ?? []).includes(data.coil));
    if (!of) return;
    of.marks = data.marks ?? [];
    of.text = data.text ?? '';
  },
  skipped(log, data) { log.skipped.push(data); },
  trouble(log, data) { log.trouble.push(data.what); },
  said(log, data) { log.said.push(data.text); },
  told(log, data) { log.told.push(data.text); },
  results(log, data) {
    for (const result of data.results ?? []) {
      const key = `${result.check}/${result.title}`;
      log.results.delete(key);  // the newest stands last
      log.results.set(key, result);
    }
  },
  finding(log, data) { log.findings.set(`${data.kind}/${data.part}/${data.text}`, data); },
  finished(log, data) { log.finished = data; },
  verdict(log, data) { log.verdict = data; },
  failed(log, data, id) { log.failed = {...data, id}; },
  lever_result(log, data) { log.lever = data; },
};

/// Takes one message in. A reset leaves the slots alone: they may have come before it, and the
/// server itself empties those of the run before.
export function apply(name, data, id) {
  if (name in model.slots) {
    model.slots[name] = data && Object.keys(data).length > 0 ? data : null;
    return;
  }
  if (name === 'reset' || name === 'run') model.log = emptyRun();
  if (data) take[name]?.(model.log, data, id);
}

export const busy = () => (model.slots.state?.phase ?? 'idle') !== 'idle';

/// The run's end as one word for what to show, or '' while there is none.
export function ending() {
  const {verdict, failed, lever, finished} = model.log;
  if (verdict) return 'verdict';
  if (lever) return 'lever';
  if (failed) return 'failed';
  const diagnosing = model.log.run?.work === 'diagnose';
  if (diagnosing && (model.slots.ranking?.done || finished)) return 'diagnosis';
  return '';
}

/// Outcomes of the results that name this pin; the worst one is its state.
const kWorst = ['fail', 'bench-fault', 'undecided', 'pass'];
export function pinStates() {
  const states = new Map();
  for (const {outcome, pins} of model.log.results.values()) {
    const rank = kWorst.indexOf(outcome);
    if (rank < 0) continue;
    for (const pin of pins ?? []) {
      const before = states.get(pin);
      if (before === undefined || rank < kWorst.indexOf(before)) states.set(pin, outcome);
    }
  }
  return states;
}
