import type { RelayChannel } from '../prop/schema.ts';
import type { Board } from './boards.ts';
import { DutyGuard } from './duty.ts';

const DEFAULT_PULSE_MS = 200;

/** A relay as the core drives it. */
export class Relay {
  readonly kind = 'relay';
  readonly name: string;
  readonly index: number;
  readonly spec: RelayChannel;
  readonly board: Board;
  readonly output: number;
  readonly rail: number;
  readonly duty: DutyGuard | undefined;
  readonly onA: number;
  on = false;
  /** Opens by itself then (s). */
  offAtS = Number.POSITIVE_INFINITY;
  /** An interlock opened it; cleared when it closes again. */
  interlocked = false;
  /** Counts up with every change of the contact. */
  changes = 0;
  readonly #time: { readonly nowS: number };

  /** @param time of the last tick (s) */
  constructor(
    name: string,
    index: number,
    spec: RelayChannel,
    board: Board,
    rail: number,
    time: { readonly nowS: number },
  ) {
    this.#time = time;
    this.name = name;
    this.index = index;
    this.spec = spec;
    this.board = board;
    this.rail = rail;
    this.duty = spec.duty && new DutyGuard(spec.duty.maxOnS, spec.duty.restS);
    this.onA = spec.draw?.onA ?? 0;
    // As its board puts it when it is opened.
    this.on = this.safeOn;
    this.output = board.addOutput({
      name,
      kind: 'level',
      pin: spec.output.pin,
      safe: this.levelOf(this.safeOn),
      plant: { kind: 'load', channel: name, onA: this.onA, activeLevel: this.levelOf(true) },
    });
  }

  get parkOn(): boolean {
    return this.spec.park.to === 'on';
  }

  /** It must stay closed: what drops the power leaves it as it is. */
  get safeOn(): boolean {
    return this.spec.safe === 'on';
  }

  /** For a stop or a fault: opens, unless closed is the safe state. */
  makeSafe(): void {
    if (!this.safeOn) this.set(false);
  }

  /** Length of a momentary closure (s), or undefined for a held contact. */
  get pulseS(): number | undefined {
    if (this.spec.contact !== 'momentary') return undefined;
    return (this.spec.pulseMs ?? DEFAULT_PULSE_MS) / 1000;
  }

  /** The electrical level that closes or opens it. */
  levelOf(on: boolean): 0 | 1 {
    return on !== this.spec.output.activeLow ? 1 : 0;
  }

  /** Closes or opens; the gate has asked every guard before. */
  set(on: boolean, offAtS = Number.POSITIVE_INFINITY): void {
    this.offAtS = on ? offAtS : Number.POSITIVE_INFINITY;
    if (on) this.interlocked = false;
    if (on !== this.on) this.changes++;
    this.on = on;
  }

  put(): void {
    // Only now, as the pin changes: a tick may come long after what it carries out was asked for.
    this.duty?.change(this.on, this.#time.nowS);
    this.board.put(this.output, this.levelOf(this.on));
  }

  amps(): number {
    return this.on ? this.onA : 0;
  }
}
