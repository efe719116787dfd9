import { beforeEach, describe, expect, it } from 'vitest';
import {
  type Direction,
  HESITATION_MS,
  Hold,
  type HoldOptions,
  STEP_EVERY_MS,
} from '../../src/gateway/page/hold.ts';
import { VirtualClock } from '../../src/shared/clock.ts';

/** A link whose answers the test gives, to a servo that is at once where it is told to be. */
class Rig {
  readonly clock = new VirtualClock();
  readonly sent: number[] = [];
  readonly reported: [Direction | 0, string][] = [];
  readonly #waiting: { resolve(limited: boolean): void; reject(error: Error): void }[] = [];
  targetDeg = 0;
  /** Where the servo is (deg); follows the target unless set. */
  stuckDeg: number | undefined;
  readonly hold = new Hold({
    clock: this.clock,
    step: (byDeg) => {
      this.sent.push(byDeg);
      return new Promise((resolve, reject) => {
        this.#waiting.push({
          resolve: (limited) => {
            this.targetDeg += byDeg;
            resolve({ target: this.targetDeg, limited });
          },
          reject,
        });
      });
    },
    positionDeg: () => this.stuckDeg ?? this.targetDeg,
    changed: (direction, why) => this.reported.push([direction, why]),
  });

  press(direction: Direction, options: Partial<HoldOptions> = {}): void {
    this.hold.press(direction, { speedDegS: 5, stopOnPush: true, ...options });
  }

  async answer(limited = false): Promise<void> {
    this.#waiting.shift()!.resolve(limited);
    await settled();
  }

  async refuse(reason: string): Promise<void> {
    this.#waiting.shift()!.reject(new Error(reason));
    await settled();
  }

  /** Lets time pass with a link that answers every step after `tripMs`. */
  async run(forMs: number, tripMs = 10): Promise<void> {
    const untilMs = this.clock.nowMs() + forMs;
    while (this.clock.nowMs() < untilMs) {
      this.clock.advance(tripMs);
      await settled();
      while (this.#waiting.length > 0) await this.answer();
    }
  }

  get why(): string {
    return this.reported.at(-1)?.[1] ?? '';
  }
}

/** Lets every promise that is due run. */
const settled = () => new Promise((resolve) => setImmediate(resolve));

let rig: Rig;
beforeEach(() => {
  rig = new Rig();
});

describe('hold-to-run', () => {
  it('runs at the speed asked for while it is held', async () => {
    rig.press(1, { speedDegS: 5 });
    await rig.run(10_000);
    // Speed by its definition: distance over time, less the step that has just been sent.
    expect(rig.targetDeg / 10).toBeGreaterThan(4.9);
    expect(rig.targetDeg / 10).toBeLessThan(5.1);
  });

  it('never steps by more than 1 deg, however fast it should be', async () => {
    rig.press(-1, { speedDegS: 90 });
    await rig.run(1000);
    expect(rig.sent.length).toBeGreaterThan(5);
    for (const byDeg of rig.sent) expect(byDeg).toBe(-1);
  });

  it('stops on release and sends nothing more', async () => {
    rig.press(1);
    await rig.run(500);
    const before = rig.sent.length;
    rig.hold.stop();
    await rig.run(5000);
    expect(rig.sent.length).toBe(before);
    expect(rig.reported.at(-1)).toEqual([0, '']);
  });

  it('has one step under way at a time', async () => {
    rig.press(1);
    rig.clock.advance(HESITATION_MS - 1);
    await settled();
    expect(rig.sent.length).toBe(1);
  });

  it('slows down with the link instead of catching up', async () => {
    const tripMs = 200;
    rig.press(1, { speedDegS: 5 });
    await rig.run(4000, tripMs);
    // A step takes no less than its trip, so that many fit at most.
    expect(rig.sent.length).toBeLessThanOrEqual(4000 / tripMs + 1);
    expect(rig.hold.direction).toBe(1);
  });

  it('waits for a servo that falls behind', async () => {
    rig.press(1, { speedDegS: 10 });
    rig.stuckDeg = 0;
    await rig.run(3000);
    expect(rig.targetDeg).toBeLessThanOrEqual(4);
    rig.stuckDeg = undefined;
    await rig.run(1000);
    expect(rig.targetDeg).toBeGreaterThan(8);
  });
});

describe('a link that hesitates', () => {
  it('stops when an answer is late, and says so', async () => {
    rig.press(1);
    rig.clock.advance(HESITATION_MS + 1);
    expect(rig.hold.direction).toBe(0);
    expect(rig.why).toMatch(/hesitated/);
    await rig.answer();
    await rig.run(5000);
    expect(rig.sent.length).toBe(1);
  });

  it('stops when the answer never comes, and does not start again over it', async () => {
    rig.press(1);
    rig.clock.advance(60_000);
    await settled();
    expect(rig.hold.direction).toBe(0);
    rig.press(1);
    expect(rig.hold.direction).toBe(0);
    expect(rig.why).toMatch(/not answered/);
    expect(rig.sent.length).toBe(1);
  });

  it('does not move on a burst of answers after it; a new press does', async () => {
    rig.press(1);
    await rig.run(300);
    const before = rig.sent.length;
    rig.clock.advance(STEP_EVERY_MS);
    rig.clock.advance(HESITATION_MS + 1);
    await settled();
    expect(rig.hold.direction).toBe(0);
    await rig.answer();
    rig.clock.advance(5000);
    await settled();
    expect(rig.sent.length).toBe(before + 1);
    rig.press(1);
    await rig.run(300);
    expect(rig.sent.length).toBeGreaterThan(before + 1);
  });

  it('stops when the page itself was held up, though the answer is heard before the timer', async () => {
    let nowMs = 0;
    const reported: string[] = [];
    const sent: number[] = [];
    // A clock whose timers have not been served yet.
    const hold = new Hold({
      clock: { nowMs: () => nowMs, after: () => () => {} },
      step: async (byDeg) => {
        sent.push(byDeg);
        nowMs += HESITATION_MS + 1;
        return { target: byDeg, limited: false };
      },
      positionDeg: () => 0,
      changed: (_direction, why) => reported.push(why),
    });
    hold.press(1, { speedDegS: 5, stopOnPush: true });
    await settled();
    expect(hold.direction).toBe(0);
    expect(reported.at(-1)).toMatch(/hesitated/);
    expect(sent.length).toBe(1);
  });

  it('stops when its own timer comes far too late', async () => {
    let nowMs = 0;
    const timers: (() => void)[] = [];
    let sent = 0;
    const hold = new Hold({
      clock: {
        nowMs: () => nowMs,
        after: (_delayMs, wake) => {
          timers.push(wake);
          return () => {};
        },
      },
      step: async (byDeg) => {
        sent++;
        return { target: byDeg, limited: false };
      },
      positionDeg: () => 0.5,
      changed: () => {},
    });
    hold.press(1, { speedDegS: 5, stopOnPush: true });
    await settled();
    nowMs = STEP_EVERY_MS + HESITATION_MS + 1;
    timers.at(-1)!();
    await settled();
    expect(hold.direction).toBe(0);
    expect(sent).toBe(1);
  });
});

describe('what else ends it', () => {
  it('a refusal, with its reason', async () => {
    rig.press(1);
    await rig.refuse('tail_1 is moving');
    await rig.run(5000);
    expect(rig.sent.length).toBe(1);
    expect(rig.reported.at(-1)).toEqual([0, 'tail_1 is moving']);
    rig.press(1);
    expect(rig.sent.length).toBe(2);
  });

  it('the end of the envelope', async () => {
    rig.press(1);
    await rig.answer(true);
    expect(rig.hold.direction).toBe(0);
    expect(rig.why).toMatch(/envelope/);
  });

  it('the other button', async () => {
    rig.press(1);
    await rig.run(200);
    rig.press(-1);
    expect(rig.hold.direction).toBe(0);
    const before = rig.sent.length;
    await rig.run(1000);
    expect(rig.sent.length).toBe(before);
  });

  it('a push in the way it moves, measured or not', async () => {
    rig.press(1);
    await rig.run(200);
    rig.hold.sense(true, 1);
    expect(rig.why).toMatch(/pushes/);

    rig = new Rig();
    rig.press(-1);
    await rig.run(200);
    rig.hold.sense(true, 0);
    expect(rig.hold.direction).toBe(0);
    expect(rig.why).toMatch(/pushes/);
  });

  it('not a push when that is switched off', async () => {
    rig.press(1, { stopOnPush: false });
    rig.hold.sense(true, 1);
    await rig.run(500);
    expect(rig.hold.direction).toBe(1);
  });
});

describe('while it pushes already', () => {
  it.each([1, -1] as const)('goes the other way only (towards %i)', async (towards) => {
    rig.hold.sense(true, towards);
    rig.press(towards);
    expect(rig.sent).toEqual([]);
    expect(rig.why).toMatch(/other way/);
    rig.press(-towards as Direction);
    await rig.run(500);
    rig.hold.sense(true, towards);
    expect(rig.hold.direction).toBe(-towards);
    rig.hold.stop();
    rig.hold.sense(false, 0);
    rig.press(towards);
    expect(rig.hold.direction).toBe(towards);
  });

  it('remembers without a measurement which way it pushed', async () => {
    rig.press(1);
    await rig.run(200);
    rig.hold.sense(true, 0);
    rig.press(1);
    expect(rig.hold.direction).toBe(0);
    rig.press(-1);
    rig.hold.sense(true, 0);
    expect(rig.hold.direction).toBe(-1);
  });
});
