import { describe, expect, test } from 'vitest';
import type { SimulatedSense } from '../../../src/boards/board.ts';
import { SimDriver } from '../../../src/boards/sim/driver.ts';
import type { Restored } from '../../../src/core/store.ts';
import type { Prop } from '../../../src/prop/schema.ts';
import { FLAG } from '../../../src/shared/telemetry.ts';
import fc from '../../fast-check.ts';
import type { Client } from '../rig.ts';
import { makeProp, Rig, restedAt, servo } from '../rig.ts';

/** Waking a limp servo with a feedback potentiometer: 0.02 V a degree, 1.5 V at 0 deg. */

const POINTS = [
  [0.5, -50],
  [2.5, 50],
];
const angleOf = (channel: string, input: number) => ({
  ...{ kind: 'position', board: 'meter', input, channel, calibration: POINTS },
});

/** @param wakeUnasked as in the file */
function propOf(over: Record<string, unknown> = {}, wakeUnasked = false): Prop {
  return makeProp(
    { beak: servo(over), tail: servo() },
    {
      senses: {
        angle: { ...angleOf('beak', 1), wakeUnasked },
        other: { ...angleOf('tail', 2), wakeUnasked },
      },
      boards: { main: { driver: 'sim' }, meter: { driver: 'sim' } },
    },
  );
}

const UNASKED = propOf({}, true);

class Bench {
  readonly main: SimDriver;
  readonly meter = new SimDriver();
  rig!: Rig;
  client!: Client;

  constructor(startDeg: Record<string, number> = {}) {
    const plant = { lagS: 0.06, stopsDeg: [-45, 45] as [number, number] };
    this.main = new SimDriver({ beak: plant, tail: plant }, startDeg);
  }

  /** @param lie of the sensor of the beak, from its first reading on */
  async open(
    prop = propOf(),
    restored: Restored | 'none' = restedAt(prop),
    lie: SimulatedSense | null = null,
  ): Promise<this> {
    const { meter, main } = this;
    this.rig = await Rig.open(prop, { restored, drivers: { meter, main } });
    this.lie(lie);
    this.client = this.rig.client('desk');
    await this.client.call('lease.take');
    await this.rig.run(100);
    return this;
  }

  /** Live, its senses proven, the beak at `deg`. */
  async proven(deg = 30, prop = propOf()): Promise<this> {
    await this.open(prop);
    await this.client.call('wake');
    await this.rig.until(() => this.rig.condition === 'live');
    for (const to of [20, -10, 0]) await this.move('tail', to, 900);
    for (const to of [-20, 10, deg]) await this.move('beak', to);
    expect(this.rig.core.body.angles.map(({ proven }) => proven)).toEqual([true, true]);
    return this;
  }

  async move(channel: string, to: number, ms = 1500): Promise<void> {
    await this.client.call('channel.move', { channel, to });
    await this.rig.run(ms);
  }

  /** Power cut by a stop, and everything reset. */
  async cut(): Promise<void> {
    await this.client.call('stop', { category: 0 });
    await this.rig.tick();
    await this.client.call('reset');
  }

  lie(angle: SimulatedSense | null): void {
    this.meter.simulateSenses({ angle });
  }

  get flags(): number {
    return this.rig.servo('beak').flags();
  }

  get isUnknown(): boolean {
    return (this.flags & FLAG.unknown) !== 0;
  }

  /** Where the simulated flap really is (deg). */
  get truthDeg(): number {
    const sense = { positionDeg: 0, amps: 0, pushing: false };
    this.main.sense(this.rig.servo('beak').output, this.rig.clock.nowMs(), sense);
    return sense.positionDeg;
  }

  /** Runs until it is live or at rest again. @returns the fastest that the flap has turned (deg/s) */
  async waken(limitS = 20): Promise<number> {
    let fastest = 0;
    let last = this.truthDeg;
    this.rig.afterTick = () => {
      const now = this.truthDeg;
      fastest = Math.max(fastest, Math.abs(now - last) / 0.005);
      last = now;
    };
    await this.rig.until(() => ['live', 'parked'].includes(this.rig.condition), limitS);
    this.rig.afterTick = undefined;
    return fastest;
  }
}

/** What a sensor may do, in V at the input. */
const LIES: readonly [string, SimulatedSense][] = [
  ['is gone', { gone: true }],
  ['is no number', { nan: true }],
  ['is out of range', { value: 3.2 }],
  ['sticks', { stuck: true }],
  ['says another value', { value: 1.1 }],
  ['answers for another', { as: 'other' }],
  ['is noisy', { noise: 0.2 }],
];

describe('a limp servo whose angle is measured', () => {
  test('its power cut away from rest, it is not unknown: it does not jump, and wakes without a question where the file says so', async () => {
    const bench = await new Bench().proven(30, UNASKED);
    await bench.cut();
    expect(bench.isUnknown).toBe(true);
    await bench.rig.run(1500);
    expect(bench.isUnknown).toBe(false);
    expect(bench.rig.core.shown.notParked).toMatch(/^beak is limp, and measured at (29|30)/);
    await bench.client.call('wake', {});
    const fastest = await bench.waken();
    expect(bench.rig.condition).toBe('live');
    // The small slow move of the check, and a settling of less than the tolerance.
    expect(fastest).toBeLessThan(60);
    expect(bench.rig.servo('beak').known).toBe(true);
    expect(bench.isUnknown).toBe(false);
    // The check ends 5 deg nearer to its park position.
    expect(Math.abs(bench.rig.servo('beak').setpoint.pos - 25)).toBeLessThan(1);
    expect(bench.rig.texts('position unknown').at(-1)).toMatch(
      /^beak starts at (29|30).* deg, where it is measured, alone/,
    );
  });

  test('unless the file says so, a person must confirm it, however well it is measured', async () => {
    const bench = await new Bench().proven(30);
    await bench.cut();
    await bench.rig.run(1500);
    expect(bench.isUnknown).toBe(false);
    const refusal = await bench.client.refused('wake', {});
    expect([refusal.word, refusal.values.servos]).toEqual(['wake.unknown-servos', ['beak']]);
    expect(refusal.message).not.toContain('nobody knows');
    await bench.client.call('wake', { confirm: 'unknown' });
    const fastest = await bench.waken();
    expect([bench.rig.condition, fastest < 60]).toEqual(['live', true]);
  });

  test('until its check is over it counts as unknown, and nothing else starts', async () => {
    const bench = await new Bench().proven(30, UNASKED);
    await bench.cut();
    await bench.rig.run(1500);
    await bench.client.call('wake', {});
    await bench.rig.until(() => bench.rig.servo('beak').pulsing);
    let flagged = 0;
    while (bench.rig.condition === 'waking') {
      if (bench.isUnknown) flagged++;
      expect(bench.rig.servo('tail').moving).toBe(false);
      await bench.rig.tick();
    }
    expect(flagged * 5).toBeGreaterThan(1000);
  });

  test('turned by hand meanwhile, it is unknown, and the refusal says where it is measured', async () => {
    const bench = await new Bench().proven(30);
    await bench.cut();
    await bench.rig.run(100);
    bench.main.turnByHand({ beak: 5 });
    await bench.rig.run(2500);
    expect(bench.isUnknown).toBe(true);
    const refusal = await bench.client.refused('wake', {});
    expect(refusal.word).toBe('wake.unknown-servos');
    expect(refusal.message).toMatch(
      /start where they are measured, one at a time, and jump if a sensor is wrong: beak at [45]\.?\d* deg/,
    );
    await bench.client.call('wake', { confirm: 'unknown' });
    const fastest = await bench.waken();
    expect([bench.rig.condition, fastest < 60]).toEqual(['live', true]);
  });

  test('nothing unattended wakes it', async () => {
    const bench = await new Bench().proven(30, UNASKED);
    await bench.cut();
    await bench.rig.run(1500);
    expect(bench.isUnknown).toBe(false);
    expect(() => bench.rig.core.wake('trigger door')).toThrow('start where they are measured');
  });

  test('parked and limp, turned by hand, it is noticed; without the sense nobody would', async () => {
    const prop = propOf({ park: { to: 0, then: 'release' } });
    const bench = await new Bench().proven(30, prop);
    await bench.client.call('park');
    await bench.rig.until(() => bench.rig.condition === 'parked');
    await bench.rig.run(2000);
    expect(bench.isUnknown).toBe(false);
    bench.main.turnByHand({ beak: 20 });
    await bench.rig.run(3000);
    expect(bench.isUnknown).toBe(true);
    expect(bench.rig.texts('sense').at(-1)).toBe(
      'beak was moved while it was limp: left at 0 deg, measured at 20 deg',
    );
    expect(bench.rig.store.durable!.positions).not.toHaveProperty('beak');
    await bench.client.refused('wake', {});
    await bench.client.call('wake', { confirm: 'unknown' });
    const fastest = await bench.waken();
    expect([bench.rig.condition, fastest < 60]).toEqual(['live', true]);
  });

  test('a power cut of the whole board: the last command and the measured angle agree after the restart', async () => {
    const before = await new Bench().proven(30, UNASKED);
    const saved = before.rig.store.saved!;
    expect(saved.settled).toBe(false);
    for (const [truth, isUnknown] of [
      [30, false],
      [10, true],
    ] as const) {
      const bench = await new Bench({ beak: truth, tail: 0 }).open(UNASKED, {
        ...saved,
        sameBoot: false,
      });
      await bench.rig.run(2000);
      expect(bench.isUnknown).toBe(isUnknown);
      if (isUnknown) await bench.client.refused('wake', {});
      await bench.client.call('wake', isUnknown ? { confirm: 'unknown' } : {});
      const fastest = await bench.waken();
      expect([bench.rig.condition, fastest < 60]).toEqual(['live', true]);
    }
  });

  test('one whose sense was never proven, or is another now, is woken as without it', async () => {
    const saved = { ...restedAt(propOf()), settled: false };
    const bench = await new Bench({ beak: 30 }).open(propOf(), saved);
    await bench.rig.run(2000);
    expect(bench.isUnknown).toBe(true);
    const refusal = await bench.client.refused('wake', {});
    expect(refusal.message).not.toContain('where they are measured');
    await bench.client.call('wake', { confirm: 'unknown' });
    await bench.waken();
    expect(bench.rig.texts('position unknown')[0]).toContain('from a position nobody knows');
  });
});

describe('a sensor that lies is never worse than no sensor', () => {
  test.each(LIES)(
    'one that %s once the power is cut: a question first, as ever',
    async (_how, lie) => {
      const bench = await new Bench().proven(30, UNASKED);
      await bench.cut();
      await bench.rig.run(1200);
      bench.lie(lie);
      await bench.rig.run(6000);
      // Whatever it says, without a person nothing starts, unless both witnesses agree.
      expect(bench.isUnknown).toBe(true);
      expect((await bench.client.refused('wake', {})).word).toBe('wake.unknown-servos');
      await bench.rig.run(500);
      expect(bench.rig.servo('beak').pulsing).toBe(false);
    },
  );

  test.each(LIES)(
    'one that %s between the wake and its turn: the waking ends',
    async (_how, lie) => {
      const bench = await new Bench().proven(30, UNASKED);
      await bench.cut();
      await bench.rig.run(1500);
      await bench.client.call('wake', {});
      // The other servo goes first.
      bench.lie(lie);
      bench.rig.core.body.angles[0]!.disprove();
      await bench.waken();
      expect(bench.rig.condition).toBe('parked');
      expect(bench.rig.servo('beak').pulsing).toBe(false);
      expect(
        bench.rig.texts('condition').some((text) => text.includes('nobody knows any more')),
      ).toBe(true);
    },
  );

  test.each([
    ['is gone', { gone: true }],
    ['is no number', { nan: true }],
    ['sticks', { stuck: true }],
    ['says one value with its noise', { value: 2.1 }],
    ['answers for another', { as: 'other' }],
  ])('one that %s as its pulses begin does not follow: it says so and parks', async (_how, lie) => {
    const bench = await new Bench().proven(30, UNASKED);
    await bench.cut();
    await bench.rig.run(1500);
    await bench.client.call('wake', {});
    await bench.rig.until(() => bench.rig.servo('beak').pulsing);
    bench.lie(lie);
    await bench.waken();
    expect(bench.rig.condition).toBe('parked');
    expect(
      bench.rig
        .texts('sense')
        .some((text) => text.startsWith('the measured angle of beak is not to be trusted')),
    ).toBe(true);
    expect(bench.rig.core.body.angles[0]!.proven).toBe(false);
    expect(bench.rig.servo('beak').setpoint.pos).toBe(0);
    expect(bench.isUnknown).toBe(false);
  });

  test('one that has stuck before the start is no witness, whatever it showed last', async () => {
    const before = await new Bench().proven(30, UNASKED);
    const saved = { ...before.rig.store.saved!, sameBoot: false };
    // Turned with the power off; the converter gives the digits of the last command for ever.
    const bench = new Bench({ beak: -30, tail: 0 });
    await bench.open(UNASKED, saved, { value: 1.5 + 30 * 0.02, noise: 0 });
    await bench.rig.run(2000);
    expect(bench.isUnknown).toBe(true);
    expect((await bench.client.refused('wake', {})).word).toBe('wake.unknown-servos');
  });

  test('it never starts outside its limits, nor at once where it was', async () => {
    const bench = await new Bench().proven(39);
    await bench.cut();
    // The flap hangs 4 deg beyond its limit of 40 deg: within the tolerance of both.
    bench.main.turnByHand({ beak: 43 });
    await bench.rig.run(2500);
    await bench.client.call('wake', { confirm: 'unknown' });
    let most = 0;
    bench.rig.afterTick = () => {
      most = Math.max(most, bench.rig.servo('beak').setpoint.pos);
    };
    await bench.rig.until(() => bench.rig.condition === 'live', 20);
    expect(most).toBeLessThanOrEqual(40);
  });

  test('a stop in the middle of the check drops it, and it is unknown', async () => {
    for (const category of [0, 1, 2] as const) {
      const bench = await new Bench().proven(30, UNASKED);
      await bench.cut();
      await bench.rig.run(1500);
      await bench.client.call('wake', {});
      await bench.rig.until(() => bench.rig.servo('beak').moving);
      await bench.client.call('stop', { category });
      await bench.rig.run(3000);
      expect(bench.rig.condition).toBe('stopped');
      expect(bench.rig.servo('beak').pulsing).toBe(category === 2);
      expect(bench.rig.servo('beak').moving).toBe(false);
      if (category === 2) expect(bench.isUnknown).toBe(false);
    }
  });
});

describe('random attacks on the sensor of a limp servo', () => {
  const volts = fc.double({ min: -0.5, max: 4, noNaN: true });
  const lie: fc.Arbitrary<SimulatedSense | null> = fc.oneof(
    fc.record({ value: volts }),
    fc.record({ value: volts, noise: fc.double({ min: 0, max: 0.4, noNaN: true }) }),
    fc.constantFrom({ stuck: true }, { gone: true }, { nan: true }, { as: 'other' }, null),
  );
  const act = fc.record({
    lie: fc.option(lie, { nil: undefined }),
    turn: fc.option(fc.integer({ min: -44, max: 44 }), { nil: undefined }),
    ms: fc.integer({ min: 5, max: 3000 }),
  });
  const attack = fc.record({
    live: fc.array(act, { maxLength: 3 }),
    deg: fc.integer({ min: -40, max: 40 }),
    limp: fc.array(act, { minLength: 1, maxLength: 5 }),
    waking: fc.array(act, { maxLength: 4 }),
    releases: fc.boolean(),
    unasked: fc.boolean(),
  });

  test('nothing starts that would not start without it, and what starts is alone, within its limits, and ends', async () => {
    await fc.assert(
      fc.asyncProperty(attack, async ({ live, deg, limp, waking, releases, unasked }) => {
        const over = releases ? { park: { to: 0, then: 'release' } } : {};
        const bench = await new Bench().proven(deg, propOf(over, unasked));
        const { rig, client, main } = bench;
        const play = async ({ lie: how, turn, ms }: (typeof live)[number]) => {
          if (how !== undefined) bench.lie(how);
          if (turn !== undefined) main.turnByHand({ beak: turn });
          await rig.run(ms);
        };
        for (const one of live) await play(one);
        const beak = rig.servo('beak');
        // What the core would know without any sense: it is limp at its park position, or it is not known.
        if (releases) {
          await client.call('park');
          await rig.until(() => rig.condition === 'parked', 20);
        } else await bench.cut();
        const knownWithout = releases || beak.atPark;
        for (const one of limp) await play(one);
        expect(beak.pulsing).toBe(false);
        expect(rig.servo('tail').moving).toBe(false);
        if (beak.known) expect(knownWithout).toBe(true);
        const asks = await client.call('wake', {}).then(
          () => false,
          () => true,
        );
        // Without a question: what is known without a sense, or, where the file says so, what two witnesses say.
        if (!asks && !beak.known) expect([unasked, beak.vouched]).toEqual([true, true]);
        if (asks) await client.call('wake', { confirm: 'unknown' });
        rig.afterTick = () => {
          const { pos, vel } = beak.setpoint;
          expect(pos).toBeGreaterThanOrEqual(-40);
          expect(pos).toBeLessThanOrEqual(40);
          expect(Math.abs(vel)).toBeLessThanOrEqual(120 + 1e-6);
          // Until it is shown where it is, nothing else moves.
          if (beak.pulsing && (beak.flags() & FLAG.unknown) !== 0)
            expect(rig.servo('tail').moving).toBe(false);
        };
        for (const one of waking) await play(one);
        await rig.until(() => ['live', 'parked'].includes(rig.condition), 20);
        expect(rig.texts('stop').filter((text) => !text.includes('asked for'))).toEqual([]);
        if (rig.condition === 'live') {
          expect([beak.known, beak.pulsing]).toEqual([true, true]);
          await client.call('park');
          await rig.until(() => rig.condition === 'parked', 20);
          expect(Math.abs(beak.setpoint.pos)).toBe(0);
        }
      }),
      { numRuns: Number(process.env.ATTACKS ?? 25) },
    );
  });
});
