// Preloaded into both threads of a daemon under test. SIGUSR2 brings on the fault that SINEW_FAULT
// names, and ends one that can end. Faults of the core and its drivers are in spoil-core.ts.
import { appendFileSync } from 'node:fs';
import { createRequire, syncBuiltinESMExports } from 'node:module';
import { BroadcastChannel, isMainThread, workerData } from 'node:worker_threads';

const DAY_MS = 86_400_000;
const { SINEW_FAULT: fault, SINEW_PINS: pins } = process.env;
/** Not the wall clock, which is one of the faults. */
const nowMs = () => performance.timeOrigin + performance.now();
const note = (line) =>
  pins && appendFileSync(pins, `${JSON.stringify({ ms: nowMs(), ...line })}\n`);

let on = false;
globalThis.spoilt = { fault, note, isOn: () => on };
let shiftMs = Number(process.env.SINEW_CLOCK_SHIFT_MS ?? 0);
const realNow = Date.now;
Date.now = () => realNow() + shiftMs;

const channel = new BroadcastChannel('spoil');
channel.unref();
channel.onmessage = () => bringOn();

function bringOn() {
  on = !on;
  if (fault === 'clock') shiftMs = on ? DAY_MS : -DAY_MS;
  // The gateway's thread is started without data, the others with some.
  if (isMainThread || workerData) return;
  for (const endMs = nowMs() + 800; fault === 'gateway stalls' && nowMs() < endMs; );
  if (fault === 'gateway out of memory')
    for (const all = []; ; ) all.push(new Array(1000).fill(all.length));
}

if (isMainThread) {
  let newest;
  const threads = createRequire(import.meta.url)('node:worker_threads');
  threads.Worker = class extends threads.Worker {
    constructor(...args) {
      super(...args);
      newest = this;
    }
  };
  syncBuiltinESMExports();

  process.on('SIGUSR2', () => {
    note({ mark: fault });
    bringOn();
    channel.postMessage('now');
    if (fault === 'gateway dies') newest.terminate();
    if (fault === 'core spins') for (;;);
  });
}
