/**
 * Comes before the daemon in a build of its own (spoilt.ts): faults of the core and of its drivers, for
 * which spoil.mjs says when. What the sim boards are told is written to the file SINEW_PINS.
 */

import type { Frame, InputSpec, OutputSpec, Sense } from '../../src/boards/board.ts';
import { SimDriver } from '../../src/boards/sim/driver.ts';
import { Gate } from '../../src/core/gate.ts';

declare global {
  var spoilt: { fault: string; note: (line: object) => void; isOn: () => boolean };
}
const { fault, note, isOn } = globalThis.spoilt;

const { open, write, sense, close } = SimDriver.prototype;
const outputsOf = new WeakMap<SimDriver, readonly OutputSpec[]>();

function mustBeThere(driver: SimDriver): void {
  const hasArm = outputsOf.get(driver)?.some(({ name }) => name === 'arm');
  if (fault === 'bus vanishes' && isOn() && hasArm)
    throw new Error('EREMOTEIO: the bus does not answer');
}

function noteSafe(driver: SimDriver): void {
  for (const { name, safe } of outputsOf.get(driver) ?? []) note({ pin: name, value: safe });
}

SimDriver.prototype.open = async function (
  outputs: readonly OutputSpec[],
  inputs: readonly InputSpec[],
) {
  outputsOf.set(this, outputs);
  mustBeThere(this);
  if (fault === 'open hangs') await new Promise(() => {});
  noteSafe(this);
  await open.call(this, outputs, inputs);
};

SimDriver.prototype.write = function (frame: Frame, nowMs: number) {
  if (fault === 'driver hangs' && isOn())
    Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0);
  mustBeThere(this);
  const outputs = outputsOf.get(this)!;
  for (let at = 0; at < frame.count; at++)
    note({ pin: outputs[frame.output[at]!]!.name, value: frame.value[at] });
  write.call(this, frame, nowMs);
};

SimDriver.prototype.sense = function (output: number, nowMs: number, into: Sense) {
  mustBeThere(this);
  sense.call(this, output, nowMs, into);
};

SimDriver.prototype.close = async function () {
  noteSafe(this);
  await close.call(this);
};

const { enforce } = Gate.prototype;
Gate.prototype.enforce = function () {
  if (fault === 'core throws' && isOn()) throw new Error('a fault in the core');
  enforce.call(this);
};
