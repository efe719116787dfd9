import { resolve } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { Refusal } from '../../shared/errors.ts';
import type { Frame, InputSpec } from '../board.ts';
import { LIGHT_PERIOD_NS, type LinuxBoard, SERVO_PERIOD_NS } from './facts.ts';
import { GpioChip, type GpioLines, type Ioctl, loadIoctl } from './gpio.ts';
import { checkPwmPins } from './pin-function.ts';
import type { Pins, PlainOutput } from './pins-server.ts';
import { type PwmChannel, PwmChip, type SysFiles, sysFiles } from './pwm.ts';

export interface LinuxSurroundings {
  /** /dev */
  devices: string;
  /** /sys/class/pwm */
  pwmFolder: string;
  files: SysFiles;
  wait: (ms: number) => Promise<unknown>;
  ioctl: () => Promise<Ioctl>;
}

const HERE: LinuxSurroundings = {
  devices: '/dev',
  pwmFolder: '/sys/class/pwm',
  files: sysFiles,
  wait: sleep,
  ioctl: loadIoctl,
};

interface Claimed {
  lines: GpioLines | undefined;
  inputs: GpioLines | undefined;
  /** By output; undefined where the output is a relay. */
  pwm: (PwmChannel | undefined)[];
}

/**
 * Pins through the kernel's own interfaces: relays and inputs through the GPIO character device, servos
 * and lights through hardware PWM, of which a header has two to four channels. When a write returns, it
 * has taken effect; when it throws, all outputs that can be made safe are safe. Any call may hang: a GPIO
 * chip may sit behind I2C, SPI or USB (the kernel's gpio/driver.h marks it `can_sleep`, but tells no
 * program), and a write to sysfs waits for the chip's lock and driver. So this runs in a thread of its
 * own (driver.ts).
 *
 * What a pin does after its line is released depends on its pin controller: it may keep its level, or
 * become an input, which the chip's own pull, if any, then holds at its safe level. A pull resistor at
 * each relay makes it safe in any case.
 */
export class LinuxPins implements Pins {
  readonly pulseStepUs = 1;
  readonly #board: LinuxBoard;
  readonly #around: LinuxSurroundings;
  #outputs: readonly PlainOutput[] = [];
  /** By output: its index among the lines. */
  #lineOf: number[] = [];
  #inputCount = 0;
  #claimed: Claimed | undefined;

  constructor(board: LinuxBoard, around: Partial<LinuxSurroundings> = {}) {
    this.#board = board;
    this.#around = { ...HERE, ...around };
  }

  /** @throws Refusal when a pin is not available, or cannot do what is needed */
  async open(outputs: readonly PlainOutput[], inputs: readonly InputSpec[]): Promise<void> {
    // An error here occurs again below.
    if (this.#claimed) this.#free(this.#claimed);
    this.#claimed = undefined;
    this.#outputs = outputs;
    this.#inputCount = inputs.length;
    const claimed: Claimed = { lines: undefined, inputs: undefined, pwm: [] };
    const pwm = this.#planPwm(outputs);
    if (pwm)
      await checkPwmPins(
        pwm.chip.path,
        outputs.filter(({ kind }) => kind !== 'level'),
      );
    try {
      await this.#claimLines(claimed, outputs, inputs);
      for (const [i, output] of outputs.entries()) {
        const channel = pwm?.channelOf.get(i);
        if (!pwm || channel === undefined) continue;
        const safeNs = dutyNs(output, output.safe);
        claimed.pwm[i] = await pwm.chip.claim(channel, periodNs(output), safeNs);
      }
    } catch (error) {
      this.#free(claimed);
      throw error;
    }
    this.#claimed = claimed;
  }

  write(frame: Frame): void {
    const claimed = this.#mustBeOpen();
    try {
      this.#write(frame, claimed);
    } catch (error) {
      this.#makeSafe(claimed);
      throw error;
    }
  }

  #write(frame: Frame, { lines, pwm }: Claimed): void {
    for (let i = 0; i < frame.count; i++) {
      const index = frame.output[i]!;
      const output = this.#outputs[index];
      if (!output) throw new Error(`linux: there is no output ${index}`);
      const value = frame.value[i]!;
      if (output.kind === 'level') lines!.put(this.#lineOf[index]!, value === 0 ? 0 : 1);
      else pwm[index]!.set(dutyNs(output, value));
    }
    lines?.flush();
  }

  read(input: number): 0 | 1 {
    const claimed = this.#mustBeOpen();
    if (!claimed.inputs) throw new Error(`linux: there is no input ${input}`);
    try {
      return claimed.inputs.get(input);
    } catch (error) {
      this.#makeSafe(claimed);
      throw error;
    }
  }

  /** Reads all inputs in one call, one bit each. */
  levels(into: Int32Array): void {
    const claimed = this.#mustBeOpen();
    try {
      claimed.inputs?.getAll(this.#inputCount, into);
    } catch (error) {
      this.#makeSafe(claimed);
      throw error;
    }
  }

  /** Drives every output to its safe value, as far as that can be done. */
  makeSafe(): void {
    if (this.#claimed) this.#makeSafe(this.#claimed);
  }

  /** @throws Error when an output could not be made safe; the others are, all the same */
  async close(): Promise<void> {
    const claimed = this.#claimed;
    if (!claimed) return;
    this.#claimed = undefined;
    const failures = this.#free(claimed);
    if (failures.length > 0) throw failures[0]!;
  }

  /** The PWM channel of each output; undefined when none needs one. @throws Refusal */
  #planPwm(
    outputs: readonly PlainOutput[],
  ): { chip: PwmChip; channelOf: Map<number, number> } | undefined {
    if (outputs.every(({ kind }) => kind === 'level')) return undefined;
    const { pwmFolder: folder, files, wait } = this.#around;
    const chip = new PwmChip(this.#board.pwmChip, { folder, files, wait });
    const pins = chip.pins(this.#board.pwmPins);
    const without = outputs.filter(({ kind, pin }) => kind !== 'level' && !pins.has(pin));
    if (without.length > 0)
      throw new Refusal(
        'driver.no-pin',
        `no hardware PWM at ${without.map(described).join(', ')}: use ${[...pins.keys()].map((pin) => `GPIO ${pin}`).join(', ')}, or put it on a pca9685 board`,
        { pins: without.map(({ pin }) => pin) },
      );
    const channelOf = new Map<number, number>();
    const userOf = new Map<number, PlainOutput>();
    for (const [i, output] of outputs.entries()) {
      if (output.kind === 'level') continue;
      const channel = pins.get(output.pin)!;
      const other = userOf.get(channel);
      if (other)
        throw new Refusal(
          'driver.no-pin',
          `${described(other)} and ${described(output)} are one PWM channel and would do the same: use another pin for one, or a pca9685 board`,
        );
      userOf.set(channel, output);
      channelOf.set(i, channel);
    }
    return { chip, channelOf };
  }

  async #claimLines(
    claimed: Claimed,
    outputs: readonly PlainOutput[],
    inputs: readonly InputSpec[],
  ): Promise<void> {
    const relays: { name: string; pin: number; level: 0 | 1 }[] = [];
    this.#lineOf = outputs.map(({ name, kind, pin, safe }) =>
      kind === 'level' ? relays.push({ name, pin, level: safe === 0 ? 0 : 1 }) - 1 : -1,
    );
    if (relays.length === 0 && inputs.length === 0) return;
    const { devices, ioctl } = this.#around;
    const chip = new GpioChip(resolve(devices, this.#board.chip), await ioctl());
    try {
      if (relays.length > 0) claimed.lines = chip.claimOutputs(relays);
      if (inputs.length > 0) claimed.inputs = chip.claimInputs(inputs);
    } finally {
      chip.close();
    }
  }

  /** Drives every output to its safe value, and goes on if one fails. Returns what went wrong. */
  #makeSafe({ lines, pwm }: Claimed): Error[] {
    const failures: Error[] = [];
    attempt(failures, () => {
      for (const [i, output] of this.#outputs.entries())
        if (output.kind === 'level') lines?.put(this.#lineOf[i]!, output.safe === 0 ? 0 : 1);
      lines?.flush();
    });
    for (const [i, output] of this.#outputs.entries())
      attempt(failures, () => pwm[i]?.set(dutyNs(output, output.safe)));
    return failures;
  }

  /** Makes everything safe and releases it; goes on if something fails. */
  #free(claimed: Claimed): Error[] {
    const failures = this.#makeSafe(claimed);
    for (const [i, output] of this.#outputs.entries())
      attempt(failures, () => claimed.pwm[i]?.close(dutyNs(output, output.safe)));
    attempt(failures, () => claimed.lines?.close());
    attempt(failures, () => claimed.inputs?.close());
    return failures;
  }

  #mustBeOpen(): Claimed {
    if (!this.#claimed) throw new Error('linux: the board is not open');
    return this.#claimed;
  }
}

function attempt(failures: Error[], act: () => void): void {
  try {
    act();
  } catch (error) {
    failures.push(error as Error);
  }
}

const described = ({ name, pin }: PlainOutput) => `GPIO ${pin} (${name})`;

const periodNs = ({ kind }: PlainOutput) => (kind === 'pulse' ? SERVO_PERIOD_NS : LIGHT_PERIOD_NS);

/** The time that the pin is high in each period (ns), for a pulse (us) or a share 0..1. */
function dutyNs(output: PlainOutput, value: number): number {
  const ns = Math.round(output.kind === 'pulse' ? value * 1000 : value * periodNs(output));
  if (ns > periodNs(output))
    throw new Error(`${output.name}: a pulse of ${value} us does not fit in a period`);
  return ns;
}
