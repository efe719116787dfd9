import { beforeEach, describe, expect, it } from 'vitest';
import { HESITATION_MS } from '../../src/gateway/page/hold.ts';
import { MeasureHold, type MeasureState } from '../../src/gateway/page/measure-hold.ts';
import { VirtualClock } from '../../src/shared/clock.ts';

const STATE: MeasureState = {
  ...{ run: 3, channel: 'beak', what: 'ends', running: true, ranS: 0, value: 0 },
};

/** A link whose answers the test gives. */
class Rig {
  readonly clock = new VirtualClock();
  readonly asked: string[] = [];
  readonly said: [running: boolean | undefined, held: boolean, why: string][] = [];
  readonly #waiting: { resolve(state: MeasureState): void; reject(error: Error): void }[] = [];
  readonly hold = new MeasureHold({
    clock: this.clock,
    begin: () => this.#ask('begin'),
    hold: (run) => this.#ask(`hold ${run}`),
    release: (run) => this.#ask(`release ${run}`),
    changed: (state, held, why) => this.said.push([state?.running, held, why]),
  });

  #ask(what: string): Promise<MeasureState> {
    this.asked.push(what);
    return new Promise((resolve, reject) => this.#waiting.push({ resolve, reject }));
  }

  async answer(over: Partial<MeasureState> = {}): Promise<void> {
    this.#waiting.shift()!.resolve({ ...STATE, ...over });
    await settled();
  }

  async refuse(reason: string): Promise<void> {
    this.#waiting.shift()!.reject(new Error(reason));
    await settled();
  }

  /** Lets time pass with a link that answers everything at once. */
  async run(forMs: number): Promise<void> {
    for (let ms = 0; ms < forMs; ms += 10) {
      this.clock.advance(10);
      while (this.#waiting.length > 0) await this.answer();
    }
  }
}

const settled = () => new Promise((resolve) => setImmediate(resolve));

describe('a measurement that runs while a button is held', () => {
  let rig: Rig;
  beforeEach(() => {
    rig = new Rig();
  });

  it('sends a sign every 100 ms, and a release', async () => {
    rig.hold.press();
    await rig.answer();
    await rig.run(1000);
    const { length } = rig.asked;
    expect(length).toBeGreaterThanOrEqual(10);
    expect(length).toBeLessThanOrEqual(11);
    expect(new Set(rig.asked.slice(1))).toEqual(new Set(['hold 3']));
    rig.hold.stop();
    expect(rig.asked.at(-1)).toBe('release 3');
    await rig.run(1000);
    expect(rig.asked).toHaveLength(length + 1);
  });

  it('released before it has begun, it is released once that is answered', async () => {
    rig.hold.press();
    rig.hold.stop();
    expect(rig.asked).toEqual(['begin']);
    // Not pressed again before that.
    rig.hold.press();
    await rig.answer();
    expect(rig.asked).toEqual(['begin', 'release 3']);
    await rig.run(1000);
    expect(rig.asked).toHaveLength(2);
  });

  it('an answer that does not come in time ends it', async () => {
    rig.hold.press();
    await rig.answer();
    rig.clock.advance(100);
    rig.clock.advance(HESITATION_MS + 10);
    expect(rig.hold.held).toBe(false);
    expect(rig.said.at(-1)![2]).toContain('hesitated');
    expect(rig.asked.at(-1)).toBe('release 3');
    await rig.answer();
    await rig.run(1000);
    expect(rig.asked.filter((one) => one === 'hold 3')).toHaveLength(1);
  });

  it('a page that was held up ends it', async () => {
    rig.hold.press();
    await rig.answer();
    rig.clock.advance(1000);
    expect(rig.hold.held).toBe(false);
  });

  it('what the daemon has ended is over: nothing more is sent', async () => {
    rig.hold.press();
    await rig.answer();
    rig.clock.advance(100);
    await rig.answer({ running: false });
    expect([rig.hold.held, rig.said.at(-1)]).toEqual([false, [false, false, '']]);
    const { length } = rig.asked;
    rig.hold.stop();
    await rig.run(1000);
    expect(rig.asked).toHaveLength(length);
  });

  it('a refusal is said', async () => {
    rig.hold.press();
    await rig.refuse('nothing measures it');
    expect(rig.said.at(-1)).toEqual([undefined, false, 'nothing measures it']);
    expect(rig.hold.held).toBe(false);
  });
});
