import { Refusal } from '../../shared/errors.ts';
import { type Random, seeded, seedOf } from '../../sums/random.ts';
import type { Quantity, Reading, SenseSpec, SimulatedSense } from '../board.ts';

/** A reading of a sense is taken this often (ms). */
export const SENSE_EVERY_MS = 20;
/** Standard deviation of the readings of a good sense: A, and V (chosen, no source). */
const NOISE: Readonly<Record<Quantity, number>> = { current: 0.003, volts: 0.002 };

/** The measured side of a simulated board: readings with noise, and sensors that lie. */
export class SimSenses {
  #senses: readonly SimSense[] = [];
  readonly #faults = new Map<string, SimulatedSense>();

  open(senses: readonly SenseSpec[]): void {
    this.#senses = senses.map((spec) => new SimSense(spec));
  }

  expose(sense: number, value: number): void {
    this.#senses[sense]!.truth = value;
  }

  /** @throws Refusal for a sense that is not on the board */
  set(changes: Readonly<Record<string, SimulatedSense | null>>): void {
    const names = this.#senses.map(({ spec }) => spec.name);
    for (const [name, change] of Object.entries(changes))
      for (const one of [name, ...(change?.as === undefined ? [] : [change.as])])
        if (!names.includes(one))
          throw new Refusal(
            'sim.no-sense',
            `this board measures no ${one}; it has ${names.join(', ') || 'nothing to measure'}`,
            { sense: one },
          );
    for (const [name, change] of Object.entries(changes))
      if (change === null) this.#faults.delete(name);
      else this.#faults.set(name, change);
  }

  /** @param broken why the whole board fails */
  read(sense: number, nowMs: number, into: Reading, broken: string | undefined): void {
    const one = this.#senses[sense]!;
    const fault = this.#faults.get(one.spec.name);
    if (broken === undefined && fault?.gone !== true) {
      const source = fault?.as === undefined ? one : this.#called(fault.as);
      const given = fault?.as === undefined ? fault : this.#faults.get(fault.as);
      one.take(nowMs, given?.value ?? source.truth, given?.noise, fault);
      into.value = one.value;
      into.low = one.value;
      into.fault = undefined;
    } else {
      into.value = Number.NaN;
      into.low = Number.POSITIVE_INFINITY;
      into.fault =
        broken ?? 'the sensor does not answer (simulated); see to it that it is connected';
    }
    into.atMs = one.atMs;
  }

  #called(name: string): SimSense {
    return this.#senses.find(({ spec }) => spec.name === name)!;
  }
}

class SimSense {
  readonly spec: SenseSpec;
  /** What there is to be measured (A or V); NaN until it is known. */
  truth = Number.NaN;
  value = Number.NaN;
  atMs = Number.NEGATIVE_INFINITY;
  readonly #random: Random;

  constructor(spec: SenseSpec) {
    this.spec = spec;
    this.#random = seeded(seedOf(spec.name));
  }

  /** Takes a reading if one is due. */
  take(
    nowMs: number,
    there: number,
    noise = NOISE[this.spec.quantity],
    fault: SimulatedSense | undefined = undefined,
  ): void {
    if (nowMs < this.atMs + SENSE_EVERY_MS || Number.isNaN(there)) return;
    this.atMs = nowMs;
    if (fault?.stuck && !Number.isNaN(this.value)) return;
    this.value = fault?.nan ? Number.NaN : there + noise * this.#normal();
  }

  /** About normally distributed, with a standard deviation of 1: the sum of 12 even ones (Irwin-Hall). */
  #normal(): number {
    let sum = -6;
    for (let i = 0; i < 12; i++) sum += this.#random();
    return sum;
  }
}
