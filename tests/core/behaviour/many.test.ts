import { afterAll, describe, expect, test } from 'vitest';
import fc from '../../fast-check.ts';
import { type Act, asks, endings, mishaps, recovery, Stage } from '../programs.ts';
import { RestWatch } from '../rest-watch.ts';
import { makeProp, Rig, relay, restedAt, servo, TICK_S } from '../rig.ts';

// Moves of more servos than a tick of a slow board has time for are worked out in slices, one a tick.

const draw = { idleA: 0.05, movingA: 0.2, stallA: 0.6 };
const FEATHERS = Array.from({ length: 20 }, (_, i) => `feather_${i + 1}`);
const [FIRST] = FEATHERS as [string];
/** Longer than working out takes (ms). */
const SOON_MS = 40;

const prop = (limitA: number) =>
  makeProp(
    {
      ...Object.fromEntries(
        FEATHERS.map((name, i) => [
          name,
          servo({
            rail: 'six',
            draw,
            ...(i % 5 === 0 && { jerkDegS3: 6000 }),
            ...(i === 0 && { requires: [{ channel: 'hatch', is: 'on' }] }),
          }),
        ]),
      ),
      hatch: relay(),
      fan: relay({ rail: 'six', draw: { onA: 1 } }),
    },
    {
      rails: { six: { volts: 6, limitA } },
      groups: { all: FEATHERS, half: FEATHERS.slice(0, 10) },
      poses: { spread: Object.fromEntries(FEATHERS.map((name, i) => [name, i - 5])) },
      cues: { flutter: [{ at: 0, move: { all: 12 } }] },
      park: { stages: [], deadlineS: 20 },
      stopInput: { board: 'main', pin: 61, normallyClosed: true, category: 1 },
    },
  );

async function open(limitA = 20) {
  const { rig, client } = await Rig.live(prop(limitA));
  await client.call('channel.switch', { channel: 'hatch', on: true });
  const anyMoves = () => FEATHERS.some((name) => rig.servo(name).moving);
  const at = () => FEATHERS.map((name) => rig.servo(name).setpoint.pos);
  return { rig, client, anyMoves, at };
}

/** The answer to a move, or why it was refused, once there is one. */
function heard(asked: Promise<unknown>): { answer?: unknown; refusal?: Error } {
  const found: { answer?: unknown; refusal?: Error } = {};
  asked.then(
    (answer) => {
      found.answer = answer;
    },
    (error: Error) => {
      found.refusal = error;
    },
  );
  return found;
}

describe('a move of many servos', () => {
  test('begins a few ticks later, and is answered then, with how long it takes', async () => {
    const { rig, client, anyMoves, at } = await open();
    const found = heard(client.call('group.move', { group: 'all', to: 20 }));
    await rig.tick();
    expect(anyMoves()).toBe(false);
    expect(rig.servo(FIRST).flags()).not.toBe(0);
    expect(found).toEqual({});
    await rig.run(SOON_MS);
    expect(anyMoves()).toBe(true);
    const { durationS } = found.answer as { durationS: number };
    const few = await Rig.live(prop(20));
    await few.client.call('channel.switch', { channel: 'hatch', on: true });
    const same = await few.client.call('group.move', { group: 'half', to: 20 });
    expect(durationS).toBe(same.durationS);
    await rig.run(durationS * 1000);
    expect(new Set(at())).toEqual(new Set([20]));
    expect(anyMoves()).toBe(false);
  });

  test('arrives together, and whoever waits is answered then', async () => {
    const { rig, client, anyMoves } = await open();
    const found = heard(client.call('pose.go', { pose: 'spread', overS: 1, wait: true }));
    await rig.run(1000);
    expect(anyMoves()).toBe(true);
    expect(found).toEqual({});
    await rig.run(SOON_MS);
    expect(anyMoves()).toBe(false);
    expect(found.answer).toMatchObject({ durationS: 1 });
  });

  test.each([
    ['park', {}, 'parking'],
    ['stop', { category: 0 }, 'stopped'],
    ['lease.release', { graceS: 0 }, 'parking'],
  ] as const)(
    '%s before it begins: it never does, and its sender is told',
    async (method, params, condition) => {
      const { rig, client } = await open();
      const found = heard(client.call('group.move', { group: 'all', to: 20 }));
      await rig.tick();
      const pos = () => Math.max(...FEATHERS.map((name) => rig.servo(name).setpoint.pos));
      let farthest = pos();
      rig.afterTick = () => {
        farthest = Math.max(farthest, pos());
      };
      client.call(method, params).catch(() => {});
      await rig.tick();
      expect(rig.condition).toBe(condition);
      await rig.run(2000);
      expect(farthest).toBe(0);
      expect(found.refusal?.message).toContain('did not arrive');
    },
  );

  test('a stop button before it begins', async () => {
    const { rig, client, at } = await open();
    const found = heard(client.call('group.move', { group: 'all', to: 20 }));
    rig.board().level.set('stopInput', 1);
    await rig.run(1000);
    expect(rig.condition).toBe('stopped');
    expect(new Set(at())).toEqual(new Set([0]));
    expect(found.refusal).toBeDefined();
  });

  test('a silent client before it begins: the prop parks', async () => {
    const { rig, client, at } = await open();
    client.silent = true;
    await rig.run(480);
    heard(client.call('group.move', { group: 'all', to: 20 }));
    await rig.run(3000);
    expect(rig.condition).not.toBe('live');
    await rig.run(3000);
    expect(rig.condition).toBe('parked');
    expect(new Set(at())).toEqual(new Set([0]));
  });

  test('another command for one of them replaces it whole, once it is asked for', async () => {
    const { rig, client, at } = await open();
    const found = heard(client.call('group.move', { group: 'all', to: 20 }));
    await rig.tick();
    await client.call('channel.move', { channel: FIRST, to: 5 });
    await rig.run(2000);
    expect(found.refusal?.message).toContain('another command took');
    expect(at()).toEqual([5, ...FEATHERS.slice(1).map(() => 0)]);
  });

  test('the same twice: the first is told, the second runs', async () => {
    const { rig, client, at } = await open();
    const first = heard(client.call('group.move', { group: 'all', to: 20 }));
    const second = heard(client.call('group.move', { group: 'all', to: 20 }));
    await rig.run(2000);
    expect(first.refusal?.message).toContain('another command took');
    expect(second.answer).toBeDefined();
    expect(new Set(at())).toEqual(new Set([20]));
  });

  test('what an interlock no longer allows never begins, and says why', async () => {
    const { rig, client, at } = await open();
    const found = heard(client.call('group.move', { group: 'all', to: 20 }));
    rig.core.body.relay('hatch').set(false);
    await rig.run(2000);
    expect(found.refusal?.message).toContain('hatch');
    expect(rig.texts('refused')).toContain(`no longer: ${found.refusal?.message}`);
    expect(new Set(at())).toEqual(new Set([0]));
  });

  test('a full rail: the answer says so, and it begins when there is room', async () => {
    const { rig, client, anyMoves, at } = await open(5);
    await client.call('channel.switch', { channel: 'fan', on: true, forS: 1 });
    // Twenty that move draw 4 A, and the fan 1 A more; one that starts would be too much.
    const found = heard(client.call('group.move', { group: 'all', to: 20 }));
    await rig.run(SOON_MS);
    expect(found.answer).toMatchObject({ delayed: expect.stringContaining('rail six') });
    expect((found.answer as { durationS: number }).durationS).toBeGreaterThan(0.1);
    await rig.run(500);
    expect(anyMoves()).toBe(false);
    await rig.run(4000);
    expect(new Set(at())).toEqual(new Set([20]));
  });

  test('a cue moves them as well', async () => {
    const { rig, client, at } = await open();
    await client.call('cue.run', { cue: 'flutter' });
    await rig.run(1500);
    expect(new Set(at())).toEqual(new Set([12]));
    expect(rig.core.cues.anyRunning).toBe(false);
  });
});

// --- in whatever order ------------------------------------------------------------------------------

const LIMIT_A = 4.6;
const group = fc.constantFrom('all', 'half');
const act: fc.Arbitrary<Act> = fc.oneof(
  {
    weight: 10,
    arbitrary: fc
      .record({
        group,
        to: fc.integer({ min: -30, max: 30 }),
        overS: fc.constantFrom(undefined, 0, 0.5),
        wait: fc.boolean(),
      })
      .map((p) => asks('group.move', p)),
  },
  {
    weight: 4,
    arbitrary: fc
      .record({ channel: fc.constantFrom(...FEATHERS), to: fc.integer({ min: -30, max: 30 }) })
      .map((p) => asks('channel.move', p)),
  },
  { weight: 4, arbitrary: fc.constant(asks('pose.go', { pose: 'spread' })) },
  { weight: 4, arbitrary: fc.constant(asks('cue.run', { cue: 'flutter' })) },
  {
    weight: 4,
    arbitrary: fc
      .record({ channel: fc.constantFrom('fan', 'hatch'), on: fc.boolean() })
      .map((p) => asks('channel.switch', p)),
  },
  { weight: 3, arbitrary: fc.oneof(...endings, fc.constantFrom<Act>(...mishaps)) },
  { weight: 3, arbitrary: recovery },
);
/** Short pauses: the next command often comes while the one before is worked out. */
const program = fc.array(fc.tuple(act, fc.oneof(fc.integer({ min: 0, max: 5 }), fc.nat(80))), {
  minLength: 5,
  maxLength: 30,
});

let moved = 0;

test('random programs: rails, limits and rest hold', async () => {
  await fc.assert(
    fc.asyncProperty(program, async (acts) => {
      const spec = prop(LIMIT_A);
      const rig = await Rig.open(spec, { restored: restedAt(spec) });
      const stage = new Stage(rig);
      const rest = new RestWatch(rig);
      const before = new Map<string, number>();
      rig.afterTick = () => {
        const amps = rig.amps('six');
        if (amps > LIMIT_A + 1e-9) throw new Error(`rail at ${amps} A`);
        for (const name of FEATHERS) {
          const { setpoint, spec: own } = rig.servo(name);
          const was = before.get(name) ?? setpoint.pos;
          if (Math.abs(setpoint.pos - was) > own.speedDegS * TICK_S + 1e-9 && rig.at(name) !== 0)
            throw new Error(`${name} jumps from ${was} to ${setpoint.pos} deg`);
          if (setpoint.pos !== was) moved++;
          before.set(name, setpoint.pos);
        }
        rest.tick();
      };
      await rig.wake(stage.client);
      stage.ask('channel.switch', { channel: 'hatch', on: true });
      for (const [one, pause] of acts) {
        await one.run(stage);
        await rig.run(pause * 5);
      }
      rig.board().level.set('stopInput', 0);
      for (const { session } of [...rig.clients]) rig.commands.gone(session.id);
      await rig.until(() => rig.condition === 'parked' || rig.condition === 'stopped', 30);
      await rig.run(1000);
      expect(rig.texts('fault')).toEqual([]);
      expect(FEATHERS.filter((name) => rig.servo(name).isBusy)).toEqual([]);
    }),
    { numRuns: 40 },
  );
});

afterAll(() => {
  expect(moved).toBeGreaterThan(1000);
});
