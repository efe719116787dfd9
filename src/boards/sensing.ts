import { setTimeout as sleep } from 'node:timers/promises';
import { Refusal } from '../shared/errors.ts';
import type { Driver, InputSpec, OutputSpec, Reading, SenseSpec } from './board.ts';
import { type I2cBus, i2cErrorText, isHung, openI2c } from './i2c.ts';
import { chipAt, type I2cPlace } from './on-i2c.ts';
import { STUCK_MS, Stuck } from './stuck.ts';

/** Rounds that fail one after the other before their readings are a fault: one may be a disturbance. */
const ATTEMPTS = 3;
/** Time between attempts to find a chip that is missing, or another (ms). */
const RETRY_MS = 1000;
/**
 * The same when the transfer hangs: each time twice as long, up to this (ms). Such an attempt keeps the bus
 * from other boards for 100 ms.
 */
const RETRY_MOST_MS = 32_000;
/** The bus's thread may first have to be loaded from a slow disk (ms). */
const OPENING_MS = 5000;
/** Time in which one kind of news is told once (ms): a loose wire would fill the journal. */
const NEWS_EVERY_MS = 60_000;

/** The registers of a chip: 16 bits, high byte first. */
export interface Registers {
  /** `the chip at 0x45 on I2C bus 1`. */
  readonly place: string;
  /** @throws Error when the bus fails; then no more transfers follow in this round */
  read(...registers: number[]): Promise<number[]>;
  write(register: number, word: number): Promise<void>;
  wait(ms: number): Promise<void>;
}

/** One round of readings. */
export interface Round extends Registers {
  readonly senses: readonly SenseSpec[];
  /** Time of the last tick (ms): what is asked for now is not older. */
  nowMs(): number;
  /** A reading of a measurement, by its index: its value, and when it was asked for. */
  put(sense: number, value: number, atMs: number): void;
  /** A measurement that has no value now, and why. */
  fail(sense: number, fault: string): void;
  /** What a person should know and is not a fault, said now and then. */
  tell(news: string): void;
}

/** A chip that measures, as its driver knows it. */
export interface SensingChip {
  /** From the start of a round to the start of the next, on a free bus (ms). */
  readonly everyMs: number;
  /**
   * Finds out by reading alone whether it is this chip, then sets it up.
   * @throws ChipFault when it is another, or does not keep its settings
   */
  start(chip: Registers): Promise<void>;
  /** Reads what is measured. @throws ChipReset, or Error when the chip no longer works */
  round(round: Round): Promise<void>;
}

/** The chip that answers is another, or broken: nothing that it says is believed. */
export class ChipFault extends Error {}

/** The chip has been reset: what it says is not believed until it has been set up again. */
export class ChipReset extends Error {}

/** The board was closed in the middle of a round. */
class Over extends Error {}

export interface SensingSurroundings {
  openBus: (bus: number) => Promise<I2cBus>;
  wait: (ms: number) => Promise<unknown>;
}

/**
 * A board that only measures, on an I2C bus. It reads in rounds, with one call under way at a time, in the
 * bus's own thread; a tick begins a round and takes what the last one has brought. It fails no prop: what
 * goes wrong is the fault of its readings, and it is tried again by itself.
 */
export class SensingDriver implements Driver {
  readonly pulseStepUs = 1;
  readonly #name: string;
  readonly #place: I2cPlace;
  readonly #chip: SensingChip;
  readonly #around: SensingSurroundings;
  #open = false;
  #work: Work | undefined;

  /** @param name of the driver, for messages */
  constructor(
    name: string,
    place: I2cPlace,
    chip: SensingChip,
    around: SensingSurroundings = { openBus: (bus) => openI2c(bus), wait: sleep },
  ) {
    this.#name = name;
    this.#place = place;
    this.#chip = chip;
    this.#around = around;
  }

  /** @throws Refusal when something is wired to it: it has no pins */
  async open(outputs: readonly OutputSpec[], inputs: readonly InputSpec[]): Promise<void> {
    const pin = outputs[0] ?? inputs[0];
    if (pin)
      throw new Refusal(
        'driver.no-pin',
        `${pin.name}: board ${this.#name} only measures; wire it to a pin of the header`,
      );
    this.#open = true;
  }

  async openSenses(senses: readonly SenseSpec[]): Promise<void> {
    this.#work?.end();
    this.#work = new Work(this.#place, this.#chip, this.#around, senses);
  }

  write(): void {}

  check(nowMs: number): void {
    if (this.#open) this.#work?.tick(nowMs);
  }

  read(): 0 | 1 {
    throw new Error(`${this.#name}: it has no inputs that have a level`);
  }

  reading(sense: number, _nowMs: number, into: Reading): void {
    if (this.#work) {
      this.#work.reading(sense, into);
      return;
    }
    into.value = Number.NaN;
    into.low = Number.POSITIVE_INFINITY;
    into.atMs = Number.NEGATIVE_INFINITY;
    into.fault = `board ${this.#name} is not open`;
  }

  news(): string | undefined {
    return this.#work?.news.shift();
  }

  async close(): Promise<void> {
    this.#open = false;
    this.#work?.end();
    this.#work = undefined;
  }
}

/** The readings of an open board, until it is closed or measures something else. */
class Work {
  readonly news: string[] = [];
  readonly #place: I2cPlace;
  readonly #chip: SensingChip;
  readonly #around: SensingSurroundings;
  readonly #round: Round;
  readonly #value: Float64Array;
  /** The lowest since it was asked for last. */
  readonly #low: Float64Array;
  readonly #atMs: Float64Array;
  readonly #faults: (string | undefined)[];
  /** What is wrong with the board as a whole. */
  #fault: string | undefined;
  #bus: I2cBus | undefined;
  /** The chip has been found, and is set up. */
  #started = false;
  #running = false;
  #over = false;
  #nowMs = 0;
  #nextMs = Number.NEGATIVE_INFINITY;
  /** Transfers that have succeeded. */
  #done = 0;
  #failures = 0;
  #retryMs = RETRY_MS;
  readonly #stuck = new Stuck();
  readonly #opening = new Stuck(OPENING_MS);
  readonly #toldMs = new Map<string, number>();

  constructor(
    place: I2cPlace,
    chip: SensingChip,
    around: SensingSurroundings,
    senses: readonly SenseSpec[],
  ) {
    this.#place = place;
    this.#chip = chip;
    this.#around = around;
    this.#value = new Float64Array(senses.length).fill(Number.NaN);
    this.#low = new Float64Array(senses.length).fill(Number.POSITIVE_INFINITY);
    this.#atMs = new Float64Array(senses.length).fill(Number.NEGATIVE_INFINITY);
    this.#faults = senses.map(() => undefined);
    const { address } = place;
    this.#round = {
      place: chipAt(place),
      senses,
      nowMs: () => this.#nowMs,
      read: (...registers) => this.#transfer((bus) => bus.readWords(address, registers)),
      write: (register, word) => this.#transfer((bus) => bus.writeWord(address, register, word)),
      wait: async (ms) => {
        await around.wait(ms);
        this.#mustGoOn();
      },
      put: (sense, value, atMs) => {
        this.#hear();
        this.#value[sense] = value;
        this.#low[sense] = Math.min(this.#low[sense]!, value);
        this.#atMs[sense] = atMs;
        this.#faults[sense] = undefined;
      },
      fail: (sense, fault) => {
        this.#hear();
        this.#faults[sense] = fault;
      },
      tell: (news) => this.#tell(news),
    };
  }

  /** Begins a round when it is due, and sees whether the one under way makes progress. */
  tick(nowMs: number): void {
    this.#nowMs = nowMs;
    const isOpen = this.#bus !== undefined;
    const hangs = this.#opening.look(nowMs, this.#running && !isOpen, this.#done);
    if (this.#stuck.look(nowMs, this.#running && isOpen, this.#done) || hangs)
      this.#setFault(
        `${this.#round.place}: nothing got through for ${isOpen ? STUCK_MS : OPENING_MS} ms: check SDA, SCL and the speed of the bus`,
      );
    if (this.#running || nowMs < this.#nextMs || this.#value.length === 0) return;
    this.#nextMs = nowMs + this.#chip.everyMs;
    this.#running = true;
    void this.#run();
  }

  reading(sense: number, into: Reading): void {
    const fault = this.#fault ?? this.#faults[sense];
    into.value = fault === undefined ? this.#value[sense]! : Number.NaN;
    into.low = fault === undefined ? this.#low[sense]! : Number.POSITIVE_INFINITY;
    this.#low[sense] = Number.POSITIVE_INFINITY;
    into.atMs = this.#atMs[sense]!;
    into.fault = fault;
  }

  /** Ends it: what is under way has no effect any more, and is not waited for. */
  end(): void {
    this.#over = true;
    this.#closeBus();
  }

  /** Never rejects. */
  async #run(): Promise<void> {
    try {
      await this.#openBus();
      if (!this.#started) await this.#chip.start(this.#round);
      this.#started = true;
      await this.#chip.round(this.#round);
    } catch (error) {
      if (!this.#over) this.#fail(error as Error);
    }
    this.#running = false;
  }

  #fail(error: Error): void {
    const reset = error instanceof ChipReset;
    if (reset) this.#tell(`${error.message}; it has been set up again`);
    const certain = !this.#started || error instanceof ChipFault;
    if (reset) this.#started = false;
    // A disturbance: the last value stays, and is as old as it says.
    if (!certain && ++this.#failures < ATTEMPTS) return;
    this.#failures = 0;
    const { bus, address } = this.#place;
    const told = reset || error instanceof ChipFault || error instanceof Refusal;
    this.#setFault(told ? error.message : i2cErrorText(error, bus, address));
    this.#started = false;
    this.#nextMs = this.#nowMs + this.#retryMs;
    this.#retryMs = isHung(error) ? Math.min(2 * this.#retryMs, RETRY_MOST_MS) : RETRY_MS;
    // Opened again for the next attempt: its thread may have ended.
    this.#closeBus();
  }

  /** Something was measured: the chip is well. */
  #hear(): void {
    this.#failures = 0;
    this.#retryMs = RETRY_MS;
    this.#fault = undefined;
  }

  #setFault(fault: string): void {
    this.#fault = fault;
    // Not shown again when the fault is over.
    this.#value.fill(Number.NaN);
  }

  async #openBus(): Promise<void> {
    if (this.#bus) return;
    const bus = await this.#around.openBus(this.#place.bus);
    this.#bus = bus;
    // Closed meanwhile.
    if (this.#over) this.#closeBus();
    this.#mustGoOn();
  }

  #closeBus(): void {
    const bus = this.#bus;
    this.#bus = undefined;
    // Not waited for: the bus may hang.
    void bus?.close().catch(() => {});
  }

  async #transfer<T>(act: (bus: I2cBus) => Promise<T>): Promise<T> {
    this.#mustGoOn();
    const result = await act(this.#bus!);
    this.#mustGoOn();
    this.#done++;
    return result;
  }

  #mustGoOn(): void {
    if (this.#over) throw new Over();
  }

  #tell(news: string): void {
    const toldMs = this.#toldMs.get(news);
    if (toldMs !== undefined && this.#nowMs - toldMs < NEWS_EVERY_MS) return;
    this.#toldMs.set(news, this.#nowMs);
    this.news.push(news);
  }
}
