import type { Driver, Frame, InputSpec, OutputSpec } from '../board.ts';
import type { LinuxBoard } from './facts.ts';
import { PinsThread } from './pins-thread.ts';

/** Some of a board's pins, and the outputs that they belong to. */
interface Part {
  pins: SomePins;
  outputs: number[];
  frame: Frame;
}

interface SomePins extends Driver {
  check(nowMs: number): void;
  /** Drives every output to its safe value as soon as that can be done. */
  makeSafe(): void;
}

/**
 * A board on the kernel's own interfaces (pins.ts). If it uses both GPIO lines and hardware PWM, each has
 * its own thread: calls may hang, and a relay must open even while a write to a PWM channel hangs. When
 * one part fails, the other makes its outputs safe.
 */
export class LinuxDriver implements Driver {
  readonly pulseStepUs = 1;
  readonly #board: LinuxBoard;
  readonly #make: (name: string, board: LinuxBoard) => SomePins;
  readonly #known: { gpio?: SomePins; pwm?: SomePins } = {};
  /** Relays first. */
  #parts: Part[] = [];
  #inputs: SomePins | undefined;
  #isOpen = false;
  #last: Promise<void> = Promise.resolve();
  /** By output: the part that it is in, and its index there. */
  #at: { part: Part; output: number }[] = [];

  /** @param make makes pins whose methods never wait */
  constructor(
    board: LinuxBoard,
    make: (name: string, board: LinuxBoard) => SomePins = (name, own) => new PinsThread(name, own),
  ) {
    this.#board = board;
    this.#make = make;
  }

  /** @throws Refusal when a pin is not available, or cannot do what is needed */
  open(outputs: readonly OutputSpec[], inputs: readonly InputSpec[]): Promise<void> {
    return this.#inTurn(() => this.#doOpen(outputs, inputs));
  }

  async #doOpen(outputs: readonly OutputSpec[], inputs: readonly InputSpec[]): Promise<void> {
    // An error here occurs again below.
    await this.#doClose().catch(() => {});
    const { chip, pwmChip } = this.#board;
    const of = (isLevel: boolean) =>
      [...outputs.keys()].filter((i) => (outputs[i]!.kind === 'level') === isLevel);
    const [levels, widths] = [of(true), of(false)];
    try {
      // Refuse what a pin cannot do before any line is claimed.
      if (widths.length > 0) {
        this.#known.pwm ??= this.#make(`pwmchip${pwmChip}`, this.#board);
        this.#parts.unshift(await opened(this.#known.pwm, outputs, widths, []));
      }
      if (levels.length > 0 || inputs.length > 0) {
        this.#known.gpio ??= this.#make(chip, this.#board);
        this.#parts.unshift(await opened(this.#known.gpio, outputs, levels, inputs));
        if (inputs.length > 0) this.#inputs = this.#known.gpio;
      }
    } catch (error) {
      await this.#doClose().catch(() => {});
      throw error;
    }
    for (const part of this.#parts)
      for (const [output, index] of part.outputs.entries()) this.#at[index] = { part, output };
    this.#isOpen = true;
  }

  write(frame: Frame, nowMs: number): void {
    this.#mustBeOpen();
    for (const { frame: own } of this.#parts) own.count = 0;
    for (let i = 0; i < frame.count; i++) {
      const at = this.#at[frame.output[i]!];
      if (!at) throw new Error(`linux: there is no output ${frame.output[i]}`);
      const own = at.part.frame;
      own.output[own.count] = at.output;
      own.value[own.count] = frame.value[i]!;
      own.count++;
    }
    try {
      for (const { pins, frame: own } of this.#parts)
        if (own.count > 0) pins.write(own, nowMs);
        else pins.check(nowMs);
    } catch (error) {
      this.#makeSafe();
      throw error;
    }
  }

  check(nowMs: number): void {
    this.#mustBeOpen();
    try {
      for (const { pins } of this.#parts) pins.check(nowMs);
    } catch (error) {
      this.#makeSafe();
      throw error;
    }
  }

  /** @throws Error also when the level is unknown */
  read(input: number): 0 | 1 {
    this.#mustBeOpen();
    if (!this.#inputs) throw new Error(`linux: there is no input ${input}`);
    try {
      return this.#inputs.read(input);
    } catch (error) {
      this.#makeSafe();
      throw error;
    }
  }

  /** @throws Error when an output could not be made safe; the others are safe even then */
  close(): Promise<void> {
    return this.#inTurn(() => this.#doClose());
  }

  async #doClose(): Promise<void> {
    const parts = this.#parts;
    this.#parts = [];
    this.#inputs = undefined;
    this.#at = [];
    this.#isOpen = false;
    const closed = await Promise.allSettled(parts.map(({ pins }) => pins.close()));
    for (const one of closed) if (one.status === 'rejected') throw one.reason;
  }

  /** Runs calls one after the other: one that the core has given up may still be running. */
  #inTurn(act: () => Promise<void>): Promise<void> {
    const done = this.#last.then(act);
    this.#last = done.catch(() => {});
    return done;
  }

  #mustBeOpen(): void {
    if (!this.#isOpen) throw new Error('linux: the board is not open');
  }

  #makeSafe(): void {
    for (const { pins } of this.#parts) pins.makeSafe();
  }
}

async function opened(
  pins: SomePins,
  outputs: readonly OutputSpec[],
  own: number[],
  inputs: readonly InputSpec[],
): Promise<Part> {
  await pins.open(
    own.map((i) => outputs[i]!),
    inputs,
  );
  const frame = {
    count: 0,
    output: new Uint16Array(own.length),
    value: new Float64Array(own.length),
  };
  return { pins, outputs: own, frame };
}

/** The driver of a board on the kernel's own interfaces, not yet open. */
export function create(board: LinuxBoard): Driver {
  return new LinuxDriver(board);
}
