// Preloaded into both threads of a daemon under test. SIGUSR2 brings on the fault that SINEW_FAULT
// names, and ends one that can end. What the sim boards are told is written to the file SINEW_PINS.
import { appendFileSync } from 'node:fs';
import { createRequire, syncBuiltinESMExports } from 'node:module';
import { BroadcastChannel, isMainThread } from 'node:worker_threads';

const DAY_MS = 86_400_000;
const { SINEW_FAULT: fault, SINEW_PINS: pins } = process.env;
/** Not the wall clock, which is one of the faults. */
const nowMs = () => performance.timeOrigin + performance.now();
const note = (line) =>
  pins && appendFileSync(pins, `${JSON.stringify({ ms: nowMs(), ...line })}\n`);

let on = false;
let shiftMs = Number(process.env.SINEW_CLOCK_SHIFT_MS ?? 0);
const realNow = Date.now;
Date.now = () => realNow() + shiftMs;

const channel = new BroadcastChannel('spoil');
channel.unref();
channel.onmessage = () => bringOn();

function bringOn() {
  on = !on;
  if (fault === 'clock') shiftMs = on ? DAY_MS : -DAY_MS;
  if (isMainThread) return;
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

  const built = (name) => import(new URL(`../../dist/${name}.js`, import.meta.url));
  const { SimDriver } = await built('drivers/sim');
  const { Gate } = await built('core/gate');
  const { open, write, close, sense } = SimDriver.prototype;
  const outputsOf = new WeakMap();
  const gone = (driver) =>
    on && fault === 'bus vanishes' && outputsOf.get(driver)?.some(({ name }) => name === 'arm');
  const mustBeThere = (driver) => {
    if (gone(driver)) throw new Error('EREMOTEIO: the bus does not answer');
  };
  SimDriver.prototype.open = async function (outputs, inputs) {
    outputsOf.set(this, outputs);
    mustBeThere(this);
    if (fault === 'open hangs') await new Promise(() => {});
    for (const { name, safe } of outputs) note({ pin: name, value: safe });
    await open.call(this, outputs, inputs);
  };
  SimDriver.prototype.write = function (frame, ms) {
    if (on && fault === 'driver hangs')
      Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0);
    mustBeThere(this);
    for (let i = 0; i < frame.count; i++)
      note({ pin: outputsOf.get(this)[frame.output[i]].name, value: frame.value[i] });
    write.call(this, frame, ms);
  };
  SimDriver.prototype.sense = function (...args) {
    mustBeThere(this);
    sense.apply(this, args);
  };
  SimDriver.prototype.close = async function () {
    for (const { name, safe } of outputsOf.get(this) ?? []) note({ pin: name, value: safe });
    await close.call(this);
  };
  const { enforce } = Gate.prototype;
  Gate.prototype.enforce = function (...args) {
    if (on && fault === 'core throws') throw new Error('a fault in the core');
    return enforce.apply(this, args);
  };

  process.on('SIGUSR2', () => {
    note({ mark: fault });
    bringOn();
    channel.postMessage('now');
    if (fault === 'gateway dies') newest.terminate();
    if (fault === 'core spins') for (;;);
  });
}
