import { describe, expect, test } from 'vitest';
import type { ChangeMessage } from '../../src/core/core-prop.ts';
import { type Client, lamp, makeProp, Rig, relay, rgb, servo, sound, TICK_S } from './rig.ts';
import { JERKY, playing } from './takes-rig.ts';

type Spec = Record<string, unknown>;

/** A prop with one cue, `show`, and others where they are given. */
const prop = (steps: Spec[], channels: Record<string, Spec>, cues: Spec = {}, over: Spec = {}) =>
  makeProp(channels, { cues: { show: steps, ...cues }, ...over });

/** When a value was first reached (s after the call), from the start of the cue on. */
async function watched(rig: Rig, done: () => boolean, limitS = 30): Promise<number> {
  const fromMs = rig.clock.nowMs();
  await rig.until(done, limitS);
  return (rig.clock.nowMs() - fromMs) / 1000;
}

const run = (client: Client, how: Spec) => client.call('cue.run', { cue: 'show', ...how });
const refused = (rig: Rig) => rig.texts('refused');

describe('a cue from a time in it', () => {
  const steps = [
    { at: 0, move: { neck: 20 }, overS: 1 },
    { at: 1, move: { neck: -20 }, overS: 4 },
    { at: 4, move: { beak: 10 }, overS: 1 },
  ];

  test('brings its servos to where they are then, together and over 1 s, and goes on from there', async () => {
    const { rig, client } = await Rig.live(prop(steps, { neck: servo(), beak: servo() }));
    const neck = rig.servo('neck');
    const beak = rig.servo('beak');
    await client.call('channel.move', { channel: 'beak', to: 5, wait: false });
    await rig.until(() => !beak.moving);
    const answer = await run(client, { fromS: 3 });
    expect(answer).toMatchObject({ running: true, leftOut: [] });
    const found: number[] = [];
    rig.afterTick = () => found.push(neck.setpoint.pos);
    // Half of the way from 20 to -20 deg is at 3 s, by symmetry; it gets there over 1 s.
    await rig.run(1000);
    expect(Math.max(...found)).toBeLessThan(0.2);
    expect(neck.setpoint.pos).toBeCloseTo(0, 0);
    await rig.run(1000);
    expect(neck.setpoint.pos).toBeLessThan(-5);
    expect(beak.setpoint.pos).toBe(5);
    await rig.until(() => !rig.core.cues.anyRunning);
    expect([neck.setpoint.pos, beak.setpoint.pos]).toEqual([-20, 10]);
    // Steps that would be over by then are not played.
    expect(Math.max(...found)).toBeLessThan(0.2);
    expect(refused(rig)).toEqual([]);
  });

  test('keeps the times of what comes later', async () => {
    const { rig, client } = await Rig.live(prop(steps, { neck: servo(), beak: servo() }));
    await run(client, { fromS: 3 });
    const beginS = await watched(rig, () => rig.servo('beak').moving);
    expect(beginS).toBeGreaterThan(1.99);
    expect(beginS).toBeLessThan(2.05);
  });

  test('what follows a step that is under way comes when that has ended', async () => {
    const after = [
      { name: 'turn', at: 0, move: { neck: 20 }, overS: 2 },
      { after: 'turn', at: 0.5, move: { beak: 10 } },
    ];
    const { rig, client } = await Rig.live(prop(after, { neck: servo(), beak: servo() }));
    await run(client, { fromS: 1 });
    const beginS = await watched(rig, () => rig.servo('beak').moving);
    expect(beginS).toBeGreaterThan(2.49);
    expect(beginS).toBeLessThan(2.65);
    await run(client, { fromS: 2.25 });
    const laterS = await watched(rig, () => rig.servo('beak').targetDeg === 10);
    expect(laterS).toBeLessThan(1.3);
  });

  test('brings lights to where they are then, and fades on', async () => {
    const lit = [
      { at: 0, dim: { glow: 1 }, fadeS: 4 },
      { at: 0, colour: { eye: '#ff0000' } },
      { at: 3, colour: { eye: '#0000ff' } },
    ];
    const { rig, client } = await Rig.live(prop(lit, { glow: lamp(), eye: rgb() }));
    await run(client, { fromS: 2 });
    await rig.run(1010);
    expect(rig.core.body.lamp('glow').value).toBeCloseTo(0.5, 1);
    expect(rig.core.body.rgb('eye').targetHex).toBe('#ff0000');
    await rig.run(1100);
    expect(rig.core.body.rgb('eye').targetHex).toBe('#0000ff');
    await rig.run(1000);
    expect(rig.core.body.lamp('glow').value).toBe(1);
  });

  test('closes a relay only for what is left of its time, and once all else is there', async () => {
    const on = [
      { at: 0, move: { neck: 10 } },
      { at: 1, switch: { mist: 'on' }, forS: 4 },
    ];
    const { rig, client } = await Rig.live(prop(on, { neck: servo(), mist: relay() }));
    await run(client, { fromS: 3 });
    const closedS = await watched(rig, () => rig.on('mist'));
    expect(closedS).toBeGreaterThan(0.99);
    const openS = await watched(rig, () => !rig.on('mist'));
    expect(openS).toBeCloseTo(2, 1);
    expect((await run(client, { fromS: 3 })).leftOut).toEqual([]);
  });

  test('a relay that was closed for no time stays open, and the answer says so', async () => {
    const on = [
      { at: 0, switch: { fan: 'on' } },
      { at: 0, switch: { mist: 'on' }, forS: 1 },
      { at: 5, switch: { fan: 'off' } },
    ];
    const { rig, client } = await Rig.live(prop(on, { fan: relay(), mist: relay() }));
    const { leftOut } = await run(client, { fromS: 2 });
    expect(leftOut).toEqual([expect.stringMatching(/^fan: .* stays open$/)]);
    let closed = false;
    rig.afterTick = () => {
      closed ||= rig.on('fan') || rig.on('mist');
    };
    await rig.until(() => !rig.core.cues.anyRunning);
    expect(closed).toBe(false);
  });

  test('a sound that has begun is left out, and one that comes is played', async () => {
    const voice = [
      { name: 'call', at: 0, sound: { voice: 'purr' } },
      { after: 'call', sound: { voice: 'hoot' } },
    ];
    const { rig, client } = await Rig.live(prop(voice, { voice: sound({ board: 'main' }) }));
    const { leftOut } = await run(client, { fromS: 0.5 });
    expect(leftOut).toEqual([expect.stringMatching(/step 1: sound purr on voice: .*beginning/)]);
    const heard = rig.core.body.sound('voice');
    const beginS = await watched(rig, () => heard.playing !== undefined);
    expect(heard.playing).toBe('hoot');
    // 1.5 s of the first one are left.
    expect(beginS).toBeGreaterThan(1.45);
    expect(beginS).toBeLessThan(1.65);
  });

  test('a cue within it goes on, and runs as often as is left', async () => {
    const nested = [
      { name: 'nods', at: 0, cue: 'nod', times: 3 },
      { after: 'nods', move: { beak: 5 } },
    ];
    const nod = [
      { name: 'down', at: 0, move: { neck: 10 }, overS: 1 },
      { after: 'down', at: 0, move: { neck: 0 }, overS: 1 },
    ];
    const { rig, client } = await Rig.live(prop(nested, { neck: servo(), beak: servo() }, { nod }));
    const neck = rig.servo('neck');
    await run(client, { fromS: 3.5 });
    await rig.run(1000);
    expect(neck.setpoint.pos).toBeGreaterThan(4);
    expect(neck.setpoint.pos).toBeLessThan(6);
    let tops = 0;
    let last = neck.setpoint.pos;
    let rising = false;
    rig.afterTick = () => {
      const now = neck.setpoint.pos;
      if (rising && now < last) tops++;
      if (now !== last) rising = now > last;
      last = now;
    };
    await rig.until(() => !rig.core.cues.anyRunning);
    expect(tops).toBe(1);
    expect(rig.servo('beak').setpoint.pos).toBe(5);
  });

  test('a take goes on from where it is then', async () => {
    const timesS = Array.from({ length: 201 }, (_, i) => i / 50);
    const deg = timesS.map((t) => 15 * (1 - Math.cos((Math.PI * t) / 2)));
    const take = { servos: [{ name: 'neck', timesS, deg }] };
    const { rig, client } = await Rig.live(playing(take, {}, { neck: servo(JERKY) }));
    rig.editor.performed = { wave: { take } };
    const { leftOut } = await client.call('cue.run', { cue: 'wave', fromS: 2 });
    expect(leftOut).toEqual([]);
    await rig.run(1000);
    expect(rig.servo('neck').setpoint.pos).toBeCloseTo(30, 0);
    const found: number[] = [];
    rig.afterTick = () => found.push(rig.servo('neck').setpoint.pos);
    await rig.until(() => !rig.core.cues.anyRunning);
    expect(found.length * TICK_S).toBeCloseTo(2, 1);
    // Half way down after 1 s.
    expect(found[Math.round(1 / TICK_S)]!).toBeCloseTo(15, 0);
    expect(found.at(-1)).toBeCloseTo(0, 3);
    expect(refused(rig)).toEqual([]);
  });

  test('brings servos in the order that their interlocks ask for', async () => {
    const channels = {
      beak: servo({ requires: [{ channel: 'lid', above: 5 }] }),
      lid: servo(),
    };
    const owl = [
      { name: 'wake', at: 0, move: { lid: 20 } },
      { name: 'call', after: 'wake', move: { beak: 15 } },
      { name: 'shut', after: 'call', at: 1, move: { beak: 0 } },
      { after: 'shut', at: 1, move: { lid: 0 } },
      { at: 6, move: { lid: 1 } },
    ];
    const { rig, client } = await Rig.live(prop(owl, channels));
    await run(client, { fromS: 1 });
    await rig.run(2100);
    expect([rig.servo('lid').setpoint.pos, rig.servo('beak').setpoint.pos]).toEqual([20, 15]);
    // And back home in the other order.
    await run(client, { fromS: 5 });
    await rig.run(2100);
    expect([rig.servo('lid').setpoint.pos, rig.servo('beak').setpoint.pos]).toEqual([0, 0]);
    expect(refused(rig)).toEqual([]);
  });

  test('is refused where the prop may not be brought there, and nothing has moved', async () => {
    const channels = { neck: servo({ requires: [{ channel: 'key', is: 'on' }] }), key: relay() };
    const steps = [
      { at: 0, switch: { key: 'on' } },
      { at: 0.1, move: { neck: 20 } },
      { at: 4, move: { neck: 0 } },
    ];
    const { rig, client } = await Rig.live(prop(steps, channels));
    const { word } = await client.refused('cue.run', { cue: 'show', fromS: 2 });
    expect(word).toBe('interlock.unmet');
    await rig.run(100);
    expect(rig.core.cues.anyRunning).toBe(false);
    expect(rig.servo('neck').setpoint.pos).toBe(0);
  });

  test('ends, with the reason, where the prop can no longer be brought there', async () => {
    const channels = { neck: servo({ requires: [{ channel: 'lid', above: -5 }] }), lid: servo() };
    const owl = [
      { at: 0, move: { lid: 10 } },
      { at: 0.5, move: { neck: 20 } },
      { at: 4, move: { neck: 0 } },
    ];
    const { rig, client } = await Rig.live(prop(owl, channels));
    await run(client, { fromS: 2 });
    await rig.run(500);
    rig.servo('lid').standAt(-20);
    await rig.run(1000);
    expect(rig.core.cues.anyRunning).toBe(false);
    expect(rig.servo('neck').setpoint.pos).toBe(0);
    expect(rig.texts('cue').at(-1)).toMatch(
      /stopped: cue show, going to where it is to begin: neck/,
    );
  });

  test('past its end it is refused', async () => {
    const { client } = await Rig.live(prop(steps, { neck: servo(), beak: servo() }));
    const refusal = await client.refused('cue.run', { cue: 'show', fromS: 7 });
    expect(refusal.word).toBe('cue.past-end');
    expect(refusal.message).toMatch(/over after 5\.\d+ s/);
  });

  test('more steps than the core can take over between two ticks are refused', async () => {
    const many = Array.from({ length: 1200 }, (_, i) => ({ at: i / 100, dim: { glow: 0.5 } }));
    const { client } = await Rig.live(prop(many, { glow: lamp() }));
    const refusal = await client.refused('cue.run', { cue: 'show', rate: 0.5 });
    expect([refusal.word, refusal.values.value, refusal.values.limit]).toEqual([
      'cue.too-long',
      1200,
      500,
    ]);
    expect(await run(client, { fromS: 8, rate: 0.5 })).toMatchObject({ running: true });
    await client.call('cue.run', { cue: 'show', loop: true });
  });

  test('whatever is asked for while it is worked out is newer', async () => {
    const { rig, client } = await Rig.live(prop(steps, { neck: servo(), beak: servo() }));
    const newer = async (ask: () => Promise<unknown>) => {
      let write = () => {};
      rig.editor.writing = new Promise((resolve) => {
        write = resolve;
      });
      const asked = client.refused('cue.run', { cue: 'show', fromS: 2 });
      await ask();
      write();
      rig.editor.writing = undefined;
      return (await asked).word;
    };
    expect(await newer(() => client.call('cue.stop', { cue: 'show' }))).toBe('cue.asked-again');
    expect(await newer(() => client.call('cue.run', { cue: 'show' }))).toBe('cue.asked-again');
    await client.call('cue.stop', { cue: 'show' });
    expect(await newer(() => client.call('stop', { category: 2 }))).toBe('condition.forbids');
    expect(rig.core.cues.anyRunning).toBe(false);
    await rig.run(2500);
    await client.call('reset');
    await client.call('wake');
    await rig.until(() => rig.condition === 'live');
    expect(await newer(() => client.call('lease.release', { graceS: 30 }))).toBe('lease.not-taken');
    await client.call('lease.take');
    rig.editor.passageOf = 'other';
    expect((await client.refused('cue.run', { cue: 'show', fromS: 2 })).word).toBe(
      'file.taking-effect',
    );
  });
});

test('a link that is lost just when a cue has been worked out: nothing runs while the prop parks', async () => {
  for (let turns = 0; turns < 30; turns++) {
    const { rig, client } = await Rig.live(
      prop([{ at: 0, move: { neck: 20 } }], { neck: servo() }),
    );
    const asked = run(client, { rate: 0.5 }).catch(() => {});
    for (let i = 0; i < turns; i++) await Promise.resolve();
    rig.commands.gone(client.session.id);
    await asked;
    expect([turns, rig.condition, rig.core.cues.anyRunning]).toEqual([turns, 'parking', false]);
  }
});

describe('a slower cue', () => {
  test('takes longer in all of its times, also where a move has none', async () => {
    const steps = [
      { name: 'turn', at: 1, move: { neck: 30 } },
      { after: 'turn', at: 0.5, dim: { glow: 1 }, fadeS: 1 },
    ];
    const { rig, client } = await Rig.live(prop(steps, { neck: servo(), glow: lamp() }));
    const neck = rig.servo('neck');
    const freely = neck.plan(30).durationS;
    const answer = await run(client, { rate: 0.5 });
    const waitS = await watched(rig, () => neck.moving);
    expect(waitS).toBeCloseTo(2, 1);
    const moveS = await watched(rig, () => !neck.moving);
    expect(moveS).toBeCloseTo(2 * freely, 1);
    const lightS = await watched(rig, () => rig.core.body.lamp('glow').fading);
    expect(lightS).toBeCloseTo(1, 1);
    expect(await watched(rig, () => !rig.core.cues.anyRunning)).toBeCloseTo(2, 1);
    expect(answer.leftOut).toEqual([]);
  });

  test('eased moves and the cues within it are slower too', async () => {
    const nested = [{ at: 0, cue: 'nod' }];
    const nod = [{ at: 0.5, move: { neck: 20, beak: 20, lid: 20 }, ease: 'ease-in-out' }];
    const channels = { neck: servo(), beak: servo(), lid: servo() };
    const lasts = async (rate: number) => {
      const { rig, client } = await Rig.live(prop(nested, channels, { nod }));
      await run(client, { rate });
      return watched(rig, () => !rig.core.cues.anyRunning);
    };
    // Each is known to a tick or two.
    expect(Math.abs((await lasts(0.25)) - 4 * (await lasts(1)))).toBeLessThan(0.1);
  });

  test('a take is played at that rate', async () => {
    const timesS = Array.from({ length: 101 }, (_, i) => i / 50);
    const take = {
      servos: [{ name: 'neck', timesS, deg: timesS.map((t) => 10 * (1 - Math.cos(Math.PI * t))) }],
    };
    const { rig, client } = await Rig.live(playing(take, {}, { neck: servo(JERKY) }));
    rig.editor.performed = { wave: { take } };
    await client.call('cue.run', { cue: 'wave', rate: 0.5 });
    expect(await watched(rig, () => !rig.core.cues.anyRunning)).toBeCloseTo(4, 1);
    expect(refused(rig)).toEqual([]);
  });

  test('sounds are left out, but last as long', async () => {
    const voice = [
      { name: 'call', at: 0, sound: { voice: 'hoot' } },
      { after: 'call', move: { neck: 10 } },
    ];
    const { rig, client } = await Rig.live(
      prop(voice, { neck: servo(), voice: sound({ board: 'main' }) }),
    );
    const { leftOut } = await run(client, { rate: 0.5 });
    expect(leftOut).toEqual(['cue show, step 1: sound hoot on voice: sounds play only at rate 1']);
    let heard = false;
    rig.afterTick = () => {
      heard ||= rig.core.body.sound('voice').playing !== undefined;
    };
    expect(await watched(rig, () => rig.servo('neck').moving)).toBeCloseTo(2, 1);
    expect(heard).toBe(false);
  });

  test('a relay is closed longer, but never longer than its duty guard lets it', async () => {
    const steps = [
      { name: 'puff', at: 0, switch: { mist: 'on' }, forS: 4 },
      { after: 'puff', move: { neck: 10 } },
    ];
    const channels = { neck: servo(), mist: relay({ duty: { maxOnS: 6, restS: 10 } }) };
    const { rig, client } = await Rig.live(prop(steps, channels));
    await run(client, { rate: 0.5 });
    await rig.until(() => rig.on('mist'));
    expect(await watched(rig, () => !rig.on('mist'))).toBeCloseTo(6, 1);
    expect(await watched(rig, () => rig.servo('neck').moving)).toBeCloseTo(2, 1);
  });
});

describe('a cue in a loop', () => {
  const nods = [
    { name: 'down', at: 0, move: { neck: 10 }, overS: 0.5 },
    { after: 'down', at: 0, move: { neck: 0 }, overS: 0.5 },
  ];

  test('begins again until it is stopped', async () => {
    const { rig, client } = await Rig.live(prop(nods, { neck: servo() }));
    expect(await run(client, { loop: true })).toEqual({ running: true, durationS: null });
    await rig.run(10_000);
    expect(rig.core.cues.isRunning('show')).toBe(true);
    expect(rig.entries.find(({ text }) => text.includes('begins again'))).toBeDefined();
    await client.call('cue.stop', { cue: 'show' });
    await rig.run(500);
    expect([rig.core.cues.anyRunning, rig.servo('neck').moving]).toEqual([false, false]);
  });

  test.each<[string, (client: Client, rig: Rig) => Promise<unknown>]>([
    ['park', (client) => client.call('park')],
    ['a stop', (client) => client.call('stop', { category: 1 })],
    ['leaving', (client) => client.call('lease.release', {})],
    ['leaving with grace', (client) => client.call('lease.release', { graceS: 60 })],
    ['a lost link', async (client) => Object.assign(client, { silent: true })],
  ])('%s ends it', async (_what, end) => {
    const { rig, client } = await Rig.live(prop(nods, { neck: servo() }));
    await run(client, { loop: true });
    await rig.run(2200);
    await end(client, rig);
    await rig.run(700);
    expect(rig.core.cues.anyRunning).toBe(false);
    await rig.run(2000);
    expect(rig.servo('neck').moving).toBe(false);
  });

  test('a step that its duty guard refuses in a later round ends it, with the reason', async () => {
    const puffs = [
      { at: 0, switch: { mist: 'on' }, forS: 2 },
      { at: 3, move: { neck: 5 } },
    ];
    const channels = { neck: servo(), mist: relay({ duty: { maxOnS: 5, restS: 100 } }) };
    const { rig, client } = await Rig.live(prop(puffs, channels));
    await run(client, { loop: true });
    await rig.until(() => !rig.core.cues.anyRunning, 30);
    expect(rig.texts('cue').at(-1)).toMatch(
      /^cue show stopped: cue show, step 1: mist has used up/,
    );
    await rig.run(1000);
    expect(rig.on('mist')).toBe(false);
  });

  test('from a time in it, each round begins there', async () => {
    const { rig, client } = await Rig.live(prop(nods, { neck: servo() }));
    await run(client, { fromS: 0.5, loop: true });
    const found: number[] = [];
    rig.afterTick = () => found.push(rig.servo('neck').setpoint.pos);
    await rig.run(8000);
    const tops = found.filter((deg, i) => deg > 9.9 && deg > found[i - 1]! && deg >= found[i + 1]!);
    expect(tops.length).toBeGreaterThan(2);
    expect(rig.core.cues.isRunning('show')).toBe(true);
    expect(refused(rig)).toEqual([]);
  });

  test('one that takes no time begins again twice a second, and no more often', async () => {
    const dark = [{ at: 0, dim: { glow: 0 } }];
    const { rig, client } = await Rig.live(prop(dark, { glow: lamp() }));
    await run(client, { loop: true });
    await rig.run(5000);
    const again = rig.entries.findLast(({ text }) => text === 'cue show begins again');
    expect(again?.count).toBeGreaterThanOrEqual(9);
    expect(again?.count).toBeLessThanOrEqual(11);
  });

  /** The prop file has another version of the cue, or none. */
  function change(rig: Rig, cue: Spec[] | undefined): void {
    const { core } = rig;
    const { cues } = makeProp({ neck: servo() }, { cues: cue ? { show: cue } : {} });
    const common = { changed: [], view: new Uint8Array(), rest: {}, whenParked: false };
    const messages: ChangeMessage[] = [
      { t: 'begin', id: 1, version: 'next', base: core.version, ...common },
      { t: 'cue', name: 'show', cue: cues.show, durationS: null },
      { t: 'end' },
    ];
    for (const message of messages) core.exchange!.changes.take(message);
  }

  test('another version of the cue has its turn in the next round', async () => {
    const { rig, client } = await Rig.live(prop(nods, { neck: servo() }));
    await run(client, { loop: true });
    await rig.run(300);
    change(rig, [{ at: 0, move: { neck: -15 } }]);
    await rig.run(3000);
    expect(rig.core.cues.isRunning('show')).toBe(true);
    expect(rig.servo('neck').setpoint.pos).toBe(-15);
    change(rig, undefined);
    await rig.run(1500);
    expect(rig.core.cues.anyRunning).toBe(false);
    expect(rig.texts('cue').at(-1)).toBe('cue show stopped: it is gone from the prop file');
  });

  test('what was worked out from another version of the file ends with its round', async () => {
    const { rig, client } = await Rig.live(prop(nods, { neck: servo() }));
    await run(client, { rate: 0.5, loop: true });
    await rig.run(300);
    change(rig, [{ at: 0, move: { neck: -15 } }]);
    await rig.run(1000);
    expect(rig.core.cues.isRunning('show')).toBe(true);
    await rig.run(1500);
    expect(rig.core.cues.anyRunning).toBe(false);
    expect(rig.texts('cue').at(-1)).toMatch(/the prop file has changed/);
    expect(rig.servo('neck').setpoint.pos).toBe(0);
  });

  test('a cue that runs until it is stopped is never begun again, and ends as ever', async () => {
    const endless = [{ at: 0, cue: 'nod', times: 'until stopped' }];
    const { rig, client } = await Rig.live(prop(endless, { neck: servo() }, { nod: nods }));
    await run(client, { fromS: 1.2, rate: 0.5, loop: true });
    await rig.run(10_000);
    expect(rig.entries.some(({ text }) => text.includes('begins again'))).toBe(false);
    expect(rig.servo('neck').moving).toBe(true);
    await client.call('cue.stop', { cue: 'show' });
    await rig.run(500);
    expect(rig.servo('neck').moving).toBe(false);
  });

  test('a trigger or a hand that uses its channels ends it as any cue', async () => {
    const { rig, client } = await Rig.live(prop(nods, { neck: servo() }));
    await run(client, { fromS: 0.5, loop: true });
    await rig.run(1700);
    await client.call('channel.move', { channel: 'neck', to: 20 });
    await rig.run(2000);
    expect(rig.core.cues.anyRunning).toBe(false);
    expect(rig.servo('neck').setpoint.pos).toBe(20);
  });
});
