import { expect, test } from 'vitest';
import { LATEST_MS, type ShowOutcome } from '../../src/core/show.ts';
import { Refusal } from '../../src/shared/errors.ts';
import fc from '../fast-check.ts';
import { type Client, makeProp, Rig, relay, restedAt, servo } from './rig.ts';

// Whatever a show, people and the world do, in whatever order: what a show may never do, it never does.

const prop = () => ({
  ...makeProp(
    { neck: servo(), jaw: servo(), fan: relay() },
    {
      cues: {
        nod: [
          { at: 0, move: { neck: 20 }, overS: 0.5, name: 'down' },
          { at: 0, switch: { fan: 'on' }, forS: 0.5 },
          { after: 'down', move: { neck: 0 }, overS: 0.5 },
        ],
        chew: [{ at: 0, move: { jaw: 20 }, overS: 0.5 }],
        sway: [{ at: 0, cue: 'chew', times: 'until stopped' }],
      },
      triggers: { dawn: { osc: '/dawn', cue: 'chew', unattended: true } },
      osc: { port: 9000 },
      guards: { mat: { board: 'main', pin: 20, normallyClosed: true, action: 'inhibit' } },
      show: {
        ...{ name: 'foyer', prop: 'owl', broker: { url: 'mqtt://127.0.0.1' }, parkAfterS: 2 },
      },
    },
  ),
  ...{ cueDurationsS: { nod: 1, chew: 0.5, sway: null } },
});

type Act =
  | { do: 'go'; id: number; cue: 'nod' | 'chew' | 'sway'; inMs: number }
  | { do: 'wait'; ms: number }
  | { do: Person | World };

const PERSON = [
  'arm',
  'disarm',
  'take',
  'release',
  'wake',
  'vanish',
  'park',
  'stop',
  'reset',
] as const;
const WORLD = [
  ...(['end', 'show park', 'show stop', 'show lockout', 'unlock', 'lock', 'lost', 'back'] as const),
  ...(['break', 'mend', 'dawn', 'stall'] as const),
];
type Person = (typeof PERSON)[number];
type World = (typeof WORLD)[number];

const act: fc.Arbitrary<Act> = fc.oneof(
  {
    weight: 8,
    arbitrary: fc.record({
      do: fc.constant('go' as const),
      id: fc.nat(60),
      cue: fc.constantFrom('nod' as const, 'chew' as const, 'sway' as const),
      inMs: fc.oneof(fc.integer({ min: -50, max: 6000 }), fc.integer({ min: 1000, max: 3000 })),
    }),
  },
  { weight: 8, arbitrary: fc.record({ do: fc.constant('wait' as const), ms: fc.nat(3000) }) },
  { weight: 2, arbitrary: fc.constant({ do: 'arm' as const }) },
  { weight: 1, arbitrary: fc.record({ do: fc.constantFrom(...PERSON) }) },
  { weight: 2, arbitrary: fc.record({ do: fc.constantFrom(...WORLD) }) },
);

class Play {
  readonly rig: Rig;
  #person: Client;
  #people = 0;
  readonly outcomes = new Map<string, ShowOutcome>();
  /** Goes that were taken: when they start (ms). */
  readonly taken = new Map<string, number>();
  #seen = 0;
  wakes = 0;
  #armed = false;

  constructor(rig: Rig) {
    this.rig = rig;
    this.#person = rig.client('person 0');
    rig.core.show.onOutcome = (id, outcome) => {
      // Nothing starts, or is refused, twice.
      expect(this.outcomes.has(id)).toBe(false);
      expect(this.taken.has(id)).toBe(true);
      this.outcomes.set(id, outcome);
      if (!('startedMs' in outcome)) return;
      const lateMs = outcome.startedMs - this.taken.get(id)!;
      expect(lateMs).toBeGreaterThanOrEqual(0);
      expect(lateMs).toBeLessThanOrEqual(LATEST_MS);
    };
    rig.afterTick = () => this.#look();
  }

  /** After each tick. */
  #look(): void {
    const { core, entries } = this.rig;
    expect(core.condition).not.toBe('faulted');
    for (const { who, what, text } of entries.slice(this.#seen)) {
      if (what === 'show.arm') this.#armed = true;
      if (what === 'show' && text.startsWith('disarmed')) this.#armed = false;
      if (!who.startsWith('show ')) continue;
      const starts = what === 'cue' && text.endsWith(' runs');
      const wakes = what === 'condition' && text.startsWith('waking');
      if (starts || wakes) expect([text, this.#armed]).toEqual([text, true]);
      if (starts) expect([core.condition, core.locked]).toEqual(['live', false]);
      this.wakes += wakes ? 1 : 0;
    }
    this.#seen = entries.length;
    expect(core.show.armedBy !== undefined).toBe(this.#armed);
    if (core.condition === 'stopped' || core.locked) expect(this.#armed).toBe(false);
    if (!this.#armed) expect(core.show.waits).toBe(0);
  }

  /** Whose stop it is, as the refusal tells it. */
  async #resetOf(): Promise<void> {
    const refusal = await this.#person.refused('reset').catch(() => undefined);
    const by = refusal?.values.stoppedBy;
    await this.#person.call('reset', typeof by === 'string' ? { confirm: by } : {});
  }

  async do(one: Act): Promise<void> {
    try {
      await this.#do(one);
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
    }
  }

  async #do(one: Act): Promise<void> {
    const { rig } = this;
    const { show } = rig.core;
    switch (one.do) {
      case 'go': {
        const startMs = rig.clock.nowMs() + one.inMs;
        const id = `go-${one.id}`;
        if (show.go({ id, cue: one.cue, startMs }, 'desk')) {
          expect(this.taken.has(id)).toBe(false);
          this.taken.set(id, startMs);
        }
        return;
      }
      case 'wait':
        return rig.run(one.ms);
      case 'arm':
        await this.#person.call('lease.take');
        await this.#person.call('show.arm');
        await this.#person.call('lease.release');
        return;
      case 'disarm':
        await this.#person.call('show.disarm');
        return;
      case 'take':
        await this.#person.call('lease.take');
        return;
      case 'release':
        await this.#person.call('lease.release', { graceS: 3 });
        return;
      case 'wake':
        await this.#person.call('lease.take');
        await this.#person.call('wake', { confirm: 'unknown' });
        return;
      case 'vanish':
        this.#person.silent = true;
        this.#person = rig.client(`person ${++this.#people}`);
        return;
      case 'park':
        await this.#person.call('park');
        return;
      case 'stop':
        await this.#person.call('stop', { category: 1 });
        return;
      case 'reset':
        await this.#person.call('lease.take');
        await rig.run(2500);
        await this.#resetOf();
        return;
      case 'end':
        return show.end(undefined, 'desk');
      case 'show park':
        return show.park('desk');
      case 'show stop':
        return show.stop(1, 'desk');
      case 'show lockout':
        return show.lockout('a hand', 'desk');
      case 'lock':
        await this.#person.call('lockout.set', { reason: 'a hand' });
        return;
      case 'unlock':
        await this.#person.call('lockout.clear', { force: true, reason: 'looked' });
        return;
      case 'lost':
        return show.brokerLost(true);
      case 'back':
        return show.brokerLost(false);
      case 'break':
        rig.board().level.set('guard mat', 1);
        return;
      case 'mend':
        rig.board().level.set('guard mat', 0);
        return;
      case 'dawn':
        return rig.core.triggers.osc('/dawn');
      case 'stall':
        return rig.stall(300);
    }
  }
}

test('nothing starts unless it is armed, in time, and once; and in the end the prop rests', async () => {
  let started = 0;
  let woken = 0;
  await fc.assert(
    fc.asyncProperty(fc.array(act, { minLength: 10, maxLength: 60 }), async (acts) => {
      const one = prop();
      const rig = await Rig.open(one, { restored: restedAt(one) });
      rig.core.triggers.begin();
      const play = new Play(rig);
      await rig.tick();
      await play.do({ do: 'arm' });
      for (const each of acts) await play.do(each);
      // Nobody does anything any more, and whoever had control is gone.
      for (const client of rig.clients) client.silent = true;
      rig.board().level.set('guard mat', 0);
      rig.core.show.brokerLost(true);
      await rig.run(20_000);
      expect(rig.condition).toMatch(/^(parked|stopped)$/);
      expect(rig.core.show.waits).toBe(0);
      // Every go that was taken came to something.
      expect([...play.outcomes.keys()].sort()).toEqual([...play.taken.keys()].sort());
      started += [...play.outcomes.values()].filter((outcome) => 'startedMs' in outcome).length;
      woken += play.wakes;
    }),
    { numRuns: 20 },
  );
  // The programs do come to something.
  expect([started > 5, woken > 5]).toEqual([true, true]);
}, 240_000);
