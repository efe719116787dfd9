import type { RelayChannel } from '../prop/schema.ts';
import { FlashGuard } from '../sums/flash.ts';
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
  /** Whether it is to be closed. */
  on = false;
  /** Whether the contact is closed; only that of a light may have to wait for `on`. */
  closed = false;
  /** Counts up whenever the contact closes or opens. */
  contacts = 0;
  /** Of a light whose flashes are limited: a flash too many waits here. */
  readonly #guard: FlashGuard | undefined;
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
    this.#guard = spec.light && !spec.flash ? new FlashGuard() : undefined;
    this.output = board.addOutput({
      name,
      kind: 'level',
      pin: spec.output.pin,
      safe: this.levelOf(false),
      plant: { kind: 'load', channel: name, onA: this.onA, activeLevel: this.levelOf(true) },
    });
  }

  get parkOn(): boolean {
    return this.spec.park.to === 'on';
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

  /** Whether it is a light whose flashes are limited. */
  get isGuardedLight(): boolean {
    return this.#guard !== undefined;
  }

  /** A light's closing is held back so that it does not flash faster than allowed. */
  get flashHeld(): boolean {
    return this.#guard !== undefined && this.on && !this.closed;
  }

  /** Whether its own limit lets the light that is to be on go on now. */
  mayLight(): boolean {
    return this.#guard?.allows(this.#time.nowS, 1) ?? true;
  }

  /** Lets the contact follow `on`. Opening is never held back: it may be for safety. */
  follow(): void {
    if (this.closed === this.on) return;
    this.closed = this.on;
    this.contacts++;
    this.#guard?.force(this.#time.nowS, this.on ? 1 : 0);
  }

  put(): void {
    if (!this.#guard || !this.on) this.follow();
    // Only now, as the pin changes: a tick may come long after what it carries out was asked for.
    this.duty?.change(this.closed, this.#time.nowS);
    this.board.put(this.output, this.levelOf(this.closed));
  }

  amps(): number {
    return this.on ? this.onA : 0;
  }
}
