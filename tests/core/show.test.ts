import { describe, expect, test } from 'vitest';
import type { ShowOutcome } from '../../src/core/show.ts';
import type { Prop } from '../../src/prop/schema.ts';
import { Refusal } from '../../src/shared/errors.ts';
import {
  type Client,
  makeProp,
  Rig,
  type RigOptions,
  relay,
  restedAt,
  servo,
  sound,
  TICK_MS,
} from './rig.ts';

const SHOW = { name: 'foyer', prop: 'owl', broker: { url: 'mqtt://127.0.0.1' }, parkAfterS: 5 };
const WHO = 'show foyer (desk)';

const prop = (show: object = {}, over: Record<string, unknown> = {}): Prop => ({
  ...makeProp(
    { neck: servo(), jaw: servo(), fan: relay(), voice: sound() },
    {
      cues: {
        nod: [
          { at: 0, move: { neck: 20 }, overS: 1, name: 'down' },
          { at: 0, switch: { fan: 'on' }, forS: 1 },
          { after: 'down', move: { neck: 0 }, overS: 1 },
        ],
        chew: [{ at: 0, move: { jaw: 20 }, overS: 1 }],
        sway: [{ at: 0, cue: 'chew', times: 'until stopped' }],
        hoot: [{ at: 0, sound: { voice: 'hoot' } }],
      },
      triggers: { dawn: { osc: '/dawn', cue: 'chew', unattended: true } },
      osc: { port: 9000 },
      guards: { mat: { board: 'main', pin: 20, normallyClosed: true, action: 'inhibit' } },
      show: { ...SHOW, ...show },
      ...over,
    },
  ),
  ...{ cueDurationsS: { nod: 2, chew: 1, sway: null, hoot: 1 } },
});

type Outcomes = Map<string, ShowOutcome>;

interface Stage {
  rig: Rig;
  outcomes: Outcomes;
  go(id: string, inMs: number, cue?: string): boolean;
}

async function stage(one: Prop = prop(), options: RigOptions = {}): Promise<Stage> {
  const rig = await Rig.open(one, { restored: restedAt(one), ...options });
  const outcomes: Outcomes = new Map();
  rig.core.show.onOutcome = (id, outcome) => {
    expect(outcomes.has(id)).toBe(false);
    outcomes.set(id, outcome);
  };
  await rig.tick();
  return {
    rig,
    outcomes,
    go: (id, inMs, cue = 'nod') =>
      rig.core.show.go({ id, cue, startMs: rig.clock.nowMs() + inMs }, 'desk'),
  };
}

/** Armed by somebody who has left since, and at rest. */
async function armed(one: Prop = prop(), options: RigOptions = {}): Promise<Stage> {
  const made = await stage(one, options);
  await arm(made.rig);
  return made;
}

async function arm(rig: Rig): Promise<Client> {
  const client = rig.client('tablet');
  await client.call('lease.take');
  await client.call('show.arm');
  await client.call('lease.release');
  await rig.tick();
  return client;
}

function refusalOf(act: () => unknown): string {
  try {
    act();
  } catch (error) {
    if (error instanceof Refusal) return error.word;
    throw error;
  }
  return 'not refused';
}

/** Nothing has woken or moved, and nothing will. */
async function expectStill(rig: Rig): Promise<void> {
  const writes = rig.writes.length;
  await rig.run(70_000);
  expect(rig.writes.length).toBe(writes);
  expect(rig.texts('wake')).toEqual([]);
}

const outcome = (outcomes: Outcomes, id: string) => {
  const found = outcomes.get(id);
  return found && 'refusal' in found ? found.refusal.word : found;
};

describe('a go', () => {
  test('wakes the armed prop, starts its cue in the tick of its time, and the prop parks after it', async () => {
    const { rig, outcomes, go } = await armed();
    const startMs = rig.clock.nowMs() + 3001;
    go('first-go', 3001);
    await rig.until(() => rig.condition === 'live');
    expect(rig.core.lease.holder?.client).toBe(WHO);
    expect(rig.servo('neck').moving).toBe(false);
    await rig.until(() => outcomes.size > 0);
    const { startedMs } = outcomes.get('first-go') as { startedMs: number };
    expect(startedMs).toBeGreaterThanOrEqual(startMs);
    expect(startedMs).toBeLessThan(startMs + TICK_MS);
    expect(rig.core.cues.isRunning('nod')).toBe(true);
    await rig.until(() => !rig.core.cues.isRunning('nod'));
    expect(rig.condition).toBe('live');
    await rig.run(4900);
    expect(rig.condition).toBe('live');
    await rig.run(200);
    expect(rig.condition).not.toBe('live');
    await rig.until(() => rig.condition === 'parked');
    expect(rig.core.lease.holder).toBeUndefined();
    expect(rig.core.show.armedBy).toBe('tablet');
    expect(rig.entries.find(({ text }) => text === 'cue nod runs')!.who).toBe(WHO);
  });

  test('does nothing at a prop that nobody has armed', async () => {
    const { rig, go } = await stage();
    expect(refusalOf(() => go('a-go-0001', 3000))).toBe('show.not-armed');
    await expectStill(rig);
  });

  test('does nothing where a person has control and has not armed it', async () => {
    const { rig, go } = await stage();
    const client = rig.client('desk');
    await rig.wake(client);
    expect(refusalOf(() => go('a-go-0001', 1000))).toBe('show.not-armed');
    await rig.run(2000);
    expect(rig.core.cues.anyRunning).toBe(false);
  });

  test('runs under whoever has armed it and stays, and does not wake it for them', async () => {
    const { rig, outcomes, go } = await stage();
    const client = rig.client('desk');
    await client.call('lease.take');
    await client.call('show.arm');
    expect(refusalOf(() => go('a-go-0001', 1000))).toBe('condition.forbids');
    await rig.wake(client);
    go('a-go-0002', 500);
    await rig.run(600);
    expect(outcome(outcomes, 'a-go-0002')).toHaveProperty('startedMs');
    expect(rig.core.lease.holder?.client).toBe('desk');
    await rig.run(30_000);
    expect(rig.condition).toBe('live');
  });

  test.each([
    ['of a cue that there is not', 'hop', 1000, 'cue.unknown'],
    ['whose time has passed', 'nod', -1, 'show.late'],
    ['for more than a minute ahead', 'nod', 60_001, 'show.too-early'],
  ])('%s is refused, and wakes nothing', async (_what, cue, inMs, word) => {
    const { rig, go } = await armed();
    expect(refusalOf(() => go('a-go-0001', inMs, cue))).toBe(word);
    expect(rig.core.lease.holder).toBeUndefined();
    await expectStill(rig);
  });

  test('of a sound begins earlier, as its device must be asked before; the sound is heard at its time', async () => {
    const { rig, outcomes, go } = await armed();
    Object.assign(rig.board(), { leadS: 0.2 });
    expect(refusalOf(() => go('a-go-0001', 150, 'hoot'))).toBe('show.late');
    const startMs = rig.clock.nowMs() + 3000;
    go('a-go-0002', 3000, 'hoot');
    await rig.until(() => outcomes.size > 0);
    const { startedMs } = outcomes.get('a-go-0002') as { startedMs: number };
    expect(startMs - startedMs).toBeGreaterThan(200 - TICK_MS);
    expect(startMs - startedMs).toBeLessThanOrEqual(200);
  });

  test('that comes too late for the prop to be awake is refused at its time', async () => {
    const { rig, outcomes, go } = await armed();
    go('a-go-0001', 10);
    await rig.run(20);
    expect(outcome(outcomes, 'a-go-0001')).toBe('show.not-awake');
    await rig.run(100);
    expect(rig.core.cues.anyRunning).toBe(false);
  });

  test('whose tick comes late, as the daemon stood still, is void', async () => {
    const { rig, outcomes, go } = await armed();
    go('a-go-0001', 3000);
    await rig.run(2900);
    await rig.stall(300);
    expect(outcome(outcomes, 'a-go-0001')).toBe('show.late');
    expect(rig.texts('cue')).toEqual([]);
  });

  test('that comes again moves nothing again', async () => {
    const { rig, outcomes, go } = await armed();
    go('a-go-0001', 2000, 'chew');
    expect(go('a-go-0001', 2000, 'chew')).toBe(false);
    expect(rig.core.show.waits).toBe(1);
    await rig.until(() => outcomes.size > 0);
    for (let i = 0; i < 50; i++) {
      expect(go('a-go-0001', 1000, 'chew')).toBe(false);
      await rig.run(1000);
    }
    expect(rig.core.cues.runCount('chew')).toBe(1);
  });

  test('that waits gets a better time', async () => {
    const { rig, outcomes, go } = await armed();
    const startMs = rig.clock.nowMs() + 3000;
    go('a-go-0001', 3000);
    await rig.run(2000);
    rig.core.show.retime('a-go-0001', rig.clock.nowMs() + 1025);
    await rig.until(() => outcomes.size > 0);
    const { startedMs } = outcomes.get('a-go-0001') as { startedMs: number };
    expect(startedMs - startMs).toBeGreaterThanOrEqual(25);
    expect(startedMs - startMs).toBeLessThan(25 + 2 * TICK_MS);
  });

  test('that cannot be kept, as the clocks are too uncertain by then, is void', async () => {
    const { rig, outcomes, go } = await armed();
    go('a-go-0001', 3000);
    rig.core.show.void('a-go-0001', 'the network is too slow');
    await rig.run(5000);
    expect(outcome(outcomes, 'a-go-0001')).toBe('show.uncertain');
    expect(rig.core.cues.runCount('nod')).toBe(0);
  });

  test('no more than 16 wait', async () => {
    const { rig, go } = await armed();
    for (let i = 0; i < 16; i++) go(`a-go-${1000 + i}`, 50_000 + i);
    expect(refusalOf(() => go('one-too-many', 50_000))).toBe('show.too-many');
    expect(rig.core.show.waits).toBe(16);
  });

  test('that comes while the prop parks wakes it when it is parked', async () => {
    const { rig, outcomes, go } = await armed();
    go('a-go-0001', 2000, 'chew');
    await rig.until(() => rig.condition === 'parking');
    go('a-go-0002', 5000);
    await rig.until(() => outcomes.size === 2);
    expect(outcome(outcomes, 'a-go-0002')).toHaveProperty('startedMs');
  });

  test('waits for no prop whose servos stand nobody knows where', async () => {
    const one = prop();
    const restored = restedAt(one) as Exclude<RigOptions['restored'], string | undefined>;
    const { rig, go } = await armed(one, { restored: { ...restored, positions: {} } });
    expect(refusalOf(() => go('a-go-0001', 3000))).toBe('wake.unknown-servos');
    expect(rig.core.lease.holder).toBeUndefined();
    await expectStill(rig);
  });

  test('of a cue that is gone from the file by its time is refused', async () => {
    const { rig, outcomes, go } = await armed();
    go('a-go-0001', 3000);
    await rig.run(1000);
    rig.core.cues.replace(new Map([['nod', undefined]]));
    await rig.run(3000);
    expect(outcome(outcomes, 'a-go-0001')).toBe('cue.unknown');
    expect(rig.condition).not.toBe('faulted');
  });

  test('gives way to a trigger that runs with nobody there, and takes nothing from it', async () => {
    const { rig, go } = await armed();
    rig.core.triggers.begin();
    rig.core.triggers.osc('/dawn');
    expect(refusalOf(() => go('a-go-0001', 5000))).toBe('show.busy');
    await rig.until(() => rig.condition === 'live');
    expect(rig.core.lease.holder?.client).toBe('trigger dawn');
  });
});

describe('what disarms', () => {
  const reasons: [string, (rig: Rig) => unknown][] = [
    ['a stop by a session', (rig) => rig.client('phone').call('stop', { category: 1 })],
    ['a stop by the show', (rig) => rig.core.show.stop(1, 'desk')],
    ['a lockout', (rig) => rig.client('phone').call('lockout.set', { reason: 'horn' })],
    ['a lockout by the show', (rig) => rig.core.show.lockout('horn', 'desk')],
    ['a fault', (rig) => rig.core.fail(new Error('on purpose'))],
    ['the next holder of the lease', (rig) => rig.client('phone').call('lease.take')],
    ['anybody who asks for it', (rig) => rig.client('phone').call('show.disarm')],
    ['a low voltage', (rig) => Object.defineProperty(rig.core, 'attended', { value: false })],
  ];

  test.each(reasons)('%s: what waits is void, and no go wakes it', async (_what, act) => {
    const { rig, outcomes, go } = await armed();
    go('a-go-0001', 20_000);
    await rig.until(() => rig.condition === 'live');
    await act(rig);
    await rig.tick();
    expect(rig.core.show.armedBy).toBeUndefined();
    expect(outcome(outcomes, 'a-go-0001')).toBe('show.not-armed');
    expect(refusalOf(() => go('a-go-0002', 5000))).toBe('show.not-armed');
    await rig.run(30_000);
    expect(rig.texts('cue').filter((text) => text.endsWith('runs'))).toEqual([]);
    expect(rig.texts('show')).toHaveLength(1);
    expect(rig.core.lease.holder?.client ?? '').not.toContain('show');
  });

  test('a prop that is awake for the show parks when it is disarmed, in its time of grace too', async () => {
    for (const waitS of [2.5, 5]) {
      const { rig, go } = await armed();
      go('a-go-0001', 2000);
      await rig.run(1000 * waitS);
      expect(rig.condition).toBe('live');
      await rig.client('phone').call('show.disarm');
      await rig.tick();
      expect(rig.condition).toMatch(/^park/);
      expect(rig.core.cues.anyRunning).toBe(false);
    }
  });

  test('the loss of the link of whoever has armed it, but not their leaving', async () => {
    const { rig, go } = await stage();
    const client = rig.client('tablet');
    await rig.wake(client);
    await client.call('show.arm');
    client.silent = true;
    await rig.run(1000);
    expect(rig.core.show.armedBy).toBeUndefined();
    await rig.until(() => rig.condition === 'parked');
    expect(refusalOf(() => go('a-go-0001', 5000))).toBe('show.not-armed');
  });

  test('a restart of the daemon', async () => {
    const { rig } = await armed();
    const again = await stage(prop(), { restored: restedAt(rig.prop) });
    expect(again.rig.core.show.armedBy).toBeUndefined();
  });

  test('only the holder of the lease arms it, and not while it is stopped or locked', async () => {
    const { rig } = await stage();
    const client = rig.client('desk');
    expect((await client.refused('show.arm')).word).toBe('lease.not-taken');
    await client.call('lease.take');
    await client.call('lockout.set', { reason: 'horn' });
    expect((await client.refused('show.arm')).word).toBe('lockout.set');
    await client.call('lockout.clear');
    await client.call('stop', { category: 1 });
    expect((await client.refused('show.arm')).word).toBe('condition.forbids');
    const bare = await stage(prop({}, { show: undefined }));
    const other = bare.rig.client('desk');
    await other.call('lease.take');
    expect((await other.refused('show.arm')).word).toBe('show.none');
  });
});

describe('stop, park, lockout and end', () => {
  test('stop and park take effect on a prop that is not armed, and under somebody else', async () => {
    for (const act of ['stop', 'park'] as const) {
      const { rig } = await stage();
      const client = rig.client('desk');
      await rig.wake(client);
      await client.call('channel.move', { channel: 'neck', to: 20, wait: false });
      if (act === 'stop') rig.core.show.stop(1, 'tablet');
      else rig.core.show.park('tablet');
      await rig.run(5000);
      expect(rig.condition).toBe(act === 'stop' ? 'stopped' : 'parked');
    }
  });

  test('a stop latches: others reset it only by its name, and the show cannot', async () => {
    const { rig, go } = await armed();
    go('a-go-0001', 2000);
    await rig.run(2500);
    rig.core.show.stop(0, 'tablet');
    await rig.tick();
    expect(rig.condition).toBe('stopped');
    expect(refusalOf(() => rig.core.show.park('tablet'))).toBe('condition.forbids');
    const client = rig.client('desk');
    await client.call('lease.take');
    await rig.run(3000);
    expect((await client.refused('reset')).word).toBe('reset.confirm');
    await client.call('reset', { confirm: 'show foyer (tablet)' });
    expect(rig.condition).toBe('parked');
  });

  test('a lockout is cleared at the prop, by force', async () => {
    const { rig } = await armed();
    rig.core.show.lockout(undefined, 'tablet');
    const client = rig.client('desk');
    expect((await client.refused('lockout.clear')).word).toBe('lockout.set');
    await client.call('lockout.clear', { force: true, reason: 'I have looked' });
    expect(rig.core.locked).toBe(false);
  });

  test('park voids what waits, from whomever it comes; nothing wakes it again', async () => {
    for (const byShow of [true, false]) {
      const { rig, outcomes, go } = await armed();
      go('a-go-0001', 20_000);
      await rig.until(() => rig.condition === 'live');
      if (byShow) rig.core.show.park('tablet');
      else await rig.client('phone').call('park', { wait: false });
      await rig.run(30_000);
      expect(outcome(outcomes, 'a-go-0001')).toBe('show.ended');
      expect(rig.condition).toBe('parked');
      expect(rig.texts('cue')).toEqual([]);
    }
  });

  test('end ends what the show has started, and voids what waits; nothing of others', async () => {
    const { rig, outcomes, go } = await armed();
    expect(refusalOf(() => rig.core.show.end(undefined, 'desk'))).toBe('show.not-running');
    go('a-go-0001', 2000, 'sway');
    go('a-go-0002', 5000, 'nod');
    await rig.run(3000);
    expect(refusalOf(() => rig.core.show.end('chew', 'desk'))).toBe('show.not-running');
    rig.core.show.end('nod', 'desk');
    expect(outcome(outcomes, 'a-go-0002')).toBe('show.ended');
    expect(rig.core.cues.isRunning('sway')).toBe(true);
    rig.core.show.end(undefined, 'desk');
    expect(rig.core.cues.anyRunning).toBe(false);
    const client = rig.client('desk');
    await client.call('lease.take');
    await client.call('cue.run', { cue: 'nod', wait: false });
    expect(refusalOf(() => rig.core.show.end(undefined, 'desk'))).toBe('show.not-running');
  });

  test('a broken guard ends the cue and refuses the next; the prop stays armed', async () => {
    const { rig, go } = await armed();
    go('a-go-0001', 2000, 'sway');
    await rig.run(2500);
    rig.board().level.set('guard mat', 1);
    await rig.run(100);
    expect(rig.core.cues.anyRunning).toBe(false);
    expect(refusalOf(() => go('a-go-0002', 2000))).toBe('guard.broken');
    expect(rig.core.show.armedBy).toBe('tablet');
  });
});

describe('when the broker is lost', () => {
  test('a cue finishes, then the prop parks at once; what waits is void', async () => {
    const { rig, outcomes, go } = await armed();
    go('a-go-0001', 2000);
    go('a-go-0002', 10_000, 'chew');
    await rig.run(2500);
    rig.core.show.brokerLost(true);
    expect(outcome(outcomes, 'a-go-0002')).toBe('show.broker-lost');
    await rig.until(() => !rig.core.cues.anyRunning);
    expect(rig.core.cues.endedItself('nod', 1)).toBe(true);
    await rig.run(2 * TICK_MS);
    expect(rig.condition).toMatch(/^park/);
    await rig.until(() => rig.condition === 'parked');
  });

  test.each([
    ['as the file says', { whenBrokerLost: 'park' }, 'nod'],
    ['as it would never finish', {}, 'sway'],
  ])('the prop parks at once, %s', async (_why, show, cue) => {
    const { rig, go } = await armed(prop(show));
    go('a-go-0001', 2000, cue);
    await rig.run(2500);
    rig.core.show.brokerLost(true);
    await rig.tick();
    expect(rig.condition).toBe('parking');
  });

  test('a prop in its time of grace parks; one that somebody else has is left alone', async () => {
    const { rig, go } = await armed();
    go('a-go-0001', 2000, 'chew');
    await rig.run(4000);
    expect(rig.condition).toBe('live');
    rig.core.show.brokerLost(true);
    await rig.tick();
    expect(rig.condition).toBe('parking');

    const other = await stage();
    await other.rig.wake(other.rig.client('desk'));
    other.rig.core.show.brokerLost(true);
    await other.rig.run(1000);
    expect(other.rig.condition).toBe('live');
  });

  test('no go is taken until it is back', async () => {
    const { rig, go } = await armed();
    rig.core.show.brokerLost(true);
    expect(refusalOf(() => go('a-go-0001', 2000))).toBe('show.broker-lost');
    rig.core.show.brokerLost(false);
    go('a-go-0002', 2000);
    await rig.until(() => rig.core.cues.isRunning('nod'));
  });
});

test('a change of the show in the file disarms', async () => {
  const { rig } = await armed();
  rig.core.show.follow({ ...rig.core.prop });
  expect(rig.core.show.armedBy).toBe('tablet');
  rig.core.show.follow({ ...rig.core.prop, show: { ...rig.core.prop.show!, prop: 'other' } });
  expect(rig.core.show.armedBy).toBeUndefined();
});

test('a name from the wire cannot forge a line of the journal', async () => {
  const { rig } = await stage();
  rig.core.show.stop(1, 'desk\n2026 tablet');
  expect(rig.entries.every(({ who, text }) => !`${who}${text}`.includes('\n'))).toBe(true);
});
