import type { Driver, Reading, SenseSpec } from '../../src/boards/board.ts';
import type { SensingDriver, SensingSurroundings } from '../../src/boards/sensing.ts';
import { settle } from '../core/rig.ts';
import type { WordBus } from './word-chips.ts';

const TICK_MS = 5;

/** A board that measures, as the core has it: a call in each tick, and a look at its readings. */
export class SensingBench {
  readonly bus: WordBus;
  readonly driver: Driver;
  nowMs = 1000;
  /** What the driver said that is not a fault. */
  readonly news: string[] = [];
  /** Called before each tick: lets the chips convert. */
  each: () => void = () => {};
  /** Called with the time that a driver waits for (ms). */
  waited: (ms: number) => void = () => {};

  constructor(bus: WordBus, make: (around: SensingSurroundings) => SensingDriver) {
    this.bus = bus;
    this.driver = make({
      openBus: async () => bus,
      wait: async (ms) => {
        this.waited(ms);
        await new Promise(setImmediate);
      },
    });
  }

  async open(...senses: SenseSpec[]): Promise<this> {
    await this.driver.open([], []);
    await this.driver.openSenses!(senses);
    return this;
  }

  /** Ticks for some ms; the bus has time to answer after each. */
  async run(ms: number): Promise<void> {
    for (const endMs = this.nowMs + ms; this.nowMs < endMs; ) {
      this.nowMs += TICK_MS;
      this.each();
      this.driver.check!(this.nowMs);
      const news = this.driver.news!();
      if (news !== undefined) this.news.push(news);
      for (let turn = 0; turn < 12; turn++) await settle();
    }
  }

  reading(sense = 0): Reading {
    const into: Reading = { value: 0, low: 0, atMs: 0, fault: '' };
    this.driver.reading!(sense, this.nowMs, into);
    return into;
  }
}

export const current: SenseSpec = { name: 'amps', quantity: 'current', input: 0 };
export const volts: SenseSpec = { name: 'volts', quantity: 'volts', input: 0 };
