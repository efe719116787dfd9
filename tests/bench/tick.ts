import { Core } from '../../src/core/core.ts';
import { Journal } from '../../src/core/journal.ts';
import type { Driver } from '../../src/drivers/driver.ts';
import { SimDriver } from '../../src/drivers/sim.ts';
import { propFile } from '../../src/prop/schema.ts';
import { VirtualClock } from '../../src/shared/clock.ts';
import { Telemetry } from '../../src/shared/telemetry.ts';
import { median, type Row } from './table.ts';

const TICKS = 4000;
const TICK_MS = 5;

/** A live core with `count` servos on simulated boards of 16, as fast ticks as can be asked for. */
export async function liveCore(count: number, driver: () => Driver = () => new SimDriver()) {
  const boards = Array.from({ length: Math.ceil(count / 16) }, (_, i) => `b${i}`);
  const prop = propFile.parse({
    sinew: 1,
    name: 'bench',
    boards: Object.fromEntries(boards.map((name) => [name, { driver: 'sim' }])),
    channels: Object.fromEntries(
      Array.from({ length: count }, (_, i) => [
        `s${i}`,
        {
          kind: 'servo',
          output: { board: boards[Math.floor(i / 16)], pin: i % 16 },
          calibration: [
            [1000, -45],
            [1500, 0],
            [2000, 45],
          ],
          speedDegS: 30,
          jerkDegS3: 3000,
          park: { to: 0 },
        },
      ]),
    ),
  });
  const clock = new VirtualClock();
  const telemetry = Telemetry.create(count, 0);
  const store = {
    restored: {
      settled: true,
      sameBoot: true,
      duty: {},
      positions: Object.fromEntries(Object.keys(prop.channels).map((name) => [name, 0])),
    },
    bootNowS: () => 0,
    save: () => {},
  };
  const core = new Core({
    prop,
    drivers: new Map(boards.map((name) => [name, driver()])),
    clock,
    telemetry,
    store,
    journal: new Journal(clock),
  });
  await core.open();
  const session = { id: 'bench', client: 'bench', slot: 0 };
  core.take(session);
  let nowMs = 0;
  const tick = () => {
    telemetry.markLife(0);
    clock.advance(TICK_MS);
    nowMs += TICK_MS;
    core.tick(nowMs, 1);
  };
  core.wake('bench');
  while (core.condition === 'waking') tick();
  return { core, tick };
}

/** Microseconds a tick takes, ticks measured one by one. */
function measure(tick: () => void, before: (tick: number) => void): number {
  const took: number[] = [];
  for (let i = 0; i < TICKS; i++) {
    before(i);
    const startedMs = performance.now();
    tick();
    took.push((performance.now() - startedMs) * 1000);
  }
  return median(took);
}

export async function tickRow(count: number): Promise<Row> {
  const { core, tick } = await liveCore(count);
  const still = () => {};
  const toAndFro = (i: number): void => {
    // 80 deg at 30 deg/s: nothing has arrived when it is sent back.
    if (i % 400 === 0) {
      const toDeg = (i / 400) % 2 === 0 ? 40 : -40;
      core.gate.move(
        core.body.servos.map((servo) => ({ servo, toDeg })),
        0,
        'bench',
        core.nowS,
      );
    }
  };
  measure(tick, toAndFro);
  const moving = measure(tick, toAndFro);
  for (const servo of core.body.servos) servo.halt();
  for (let i = 0; i < 200; i++) tick();
  return {
    measure: `tick, ${count} channels moving (us)`,
    value: moving,
    baseline: measure(tick, still),
    baselineName: 'the same at rest',
    target: { value: 100 },
  };
}
