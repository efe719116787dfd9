import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import { stringify } from 'yaml';
import { CODES } from '../../src/shared/errors.ts';
import { Daemon, Peer, type StateFrame } from './daemon.ts';

interface Entry {
  time: string;
  who: string;
  what: string;
  text: string;
  values?: Record<string, unknown>;
}

let folder: string;
let daemon: Daemon;
beforeAll(async () => {
  folder = await mkdtemp(join(tmpdir(), 'sinew-cues-'));
});
afterEach(async () => {
  await daemon.cleanUp();
});
afterAll(async () => {
  await rm(folder, { recursive: true, force: true });
});

async function propFile(name: string, prop: object): Promise<string> {
  const file = join(folder, `${name}.yaml`);
  await writeFile(file, stringify({ sinew: 1, name, ...prop }));
  return file;
}

async function journal(peer: Peer): Promise<Entry[]> {
  const { entries } = await peer.ask('journal.read', { limit: 1000 });
  return entries as Entry[];
}
const texts = (entries: Entry[], what: string): string[] =>
  entries.filter((entry) => entry.what === what).map((entry) => entry.text);

/** In a state frame only what has changed is named: what each channel's value is after each. */
function values(frames: StateFrame[], channel: string): { t: number; value: unknown }[] {
  let value: unknown;
  return frames.map((frame) => {
    value = frame.channels[channel]?.value ?? value;
    return { t: frame.t, value };
  });
}

/** What each channel's value is now. */
async function finals(peer: Peer): Promise<(channel: string) => unknown> {
  const { channels } = await peer.ask('channel.list');
  return (channel) => (channels as Record<string, { value: unknown }>)[channel]!.value;
}

const servo = (pin: number, over: object = {}) => ({
  kind: 'servo',
  output: { board: 'main', pin },
  calibration: [
    [1000, -50],
    [2000, 50],
  ],
  limitsDeg: [-40, 40],
  speedDegS: 120,
  accelDegS2: 600,
  marks: {},
  park: { to: 0 },
  ...over,
});
const relay = (pin: number, over: object = {}) => ({
  kind: 'relay',
  output: { board: 'main', pin },
  park: { to: 'off' },
  ...over,
});
const draw = { idleA: 0.1, movingA: 0.6, stallA: 1.5 };

/** Arms on a weak rail, a mist behind a tail, a pump that must rest. */
const STAGE = {
  boards: { main: { driver: 'sim' } },
  rails: { six: { volts: 6, limitA: 1 } },
  channels: {
    tail: servo(5),
    arm_1: servo(6, { rail: 'six', draw }),
    arm_2: servo(12, { rail: 'six', draw }),
    mist: relay(13, {
      requires: [
        { channel: 'tail', above: 20 },
        { channel: 'fan', is: 'on' },
      ],
    }),
    pump: relay(16, { duty: { maxOnS: 0.5, restS: 5 } }),
    fan: relay(17),
  },
  cues: {
    spray: [
      { at: 0, move: { tail: 30 }, name: 'up' },
      { after: 'up', switch: { fan: 'on' }, forS: 1.5 },
      { after: 'up', at: 0.1, switch: { mist: 'on' }, forS: 3 },
      { at: 4.5, move: { tail: 0 }, overS: 1.5 },
    ],
    pump: [{ at: 0, switch: { pump: 'on' }, forS: 0.5 }],
    heavy: [
      { at: 0, move: { arm_1: 30 }, overS: 1 },
      { at: 0.3, move: { arm_2: 30 }, overS: 0.5 },
    ],
    long: [
      { at: 0, move: { tail: 30 }, overS: 5 },
      { at: 0, switch: { fan: 'on' } },
      { at: 1, move: { arm_1: 30 } },
      { at: 1, switch: { pump: 'on' } },
    ],
  },
  park: { stages: [['mist', 'fan', 'pump']], deadlineS: 6 },
};

async function onStage(): Promise<Peer> {
  daemon = await Daemon.start({ prop: await propFile('stage', STAGE) });
  const holder = await Peer.holder(daemon);
  await holder.ask('state.follow', { hz: 50 });
  return holder;
}

describe('cues on a whole daemon', () => {
  it("the owl's cue wake: lids, eye, tail, and mist for 4 s", async () => {
    daemon = await Daemon.start();
    const holder = await Peer.holder(daemon);
    await holder.ask('state.follow', { hz: 50 });
    const started = await holder.untilState(() => true);
    const answer = await holder.ask('cue.run', { cue: 'wake', wait: true });
    expect(answer).toEqual({ running: false, durationS: 6.5 });
    const after = await holder.untilState(() => true);
    expect(after.t - started.t).toBeGreaterThan(6.4);
    expect(after.t - started.t).toBeLessThan(7);

    const mist = values(holder.states, 'mist');
    const onS = mist.find(({ value }) => value === true)!.t;
    const offS = mist.find(({ t, value }) => t > onS && value === false)!.t;
    // State frames come every 20 ms.
    expect(Math.abs(offS - onS - 4)).toBeLessThan(0.06);
    expect(Math.abs(onS - started.t - 2.5)).toBeLessThan(0.2);
    const at = await finals(holder);
    for (const lid of ['lid_left', 'lid_right']) expect(at(lid)).toBe(40);
    for (const i of [1, 2, 3, 4]) expect(at(`tail_${i}`)).toBe(40);
    expect(at('eye_left')).not.toBe('#000000');
    const entries = await journal(holder);
    expect(texts(entries, 'cue')).toEqual(['cue wake runs', 'cue wake is over']);
    expect(texts(entries, 'refused')).toEqual([]);
    expect((await holder.ask('cue.list')).cues).toMatchObject({
      wake: { running: false, durationS: 6.5 },
    });
  });

  it('an interlock that breaks in the middle opens the relay, and the cue goes on', async () => {
    const holder = await onStage();
    await holder.ask('cue.run', { cue: 'spray', wait: true });
    const entries = await journal(holder);
    expect(texts(entries, 'interlock')).toEqual(['mist opened: it needs fan on']);
    expect(texts(entries, 'cue')).toEqual(['cue spray runs', 'cue spray is over']);
    const [tail, fan] = [values(holder.states, 'tail'), values(holder.states, 'fan')];
    const seen = values(holder.states, 'mist').filter(({ value }) => value === true);
    expect(seen.length).toBeGreaterThan(20);
    for (const { t } of seen) {
      expect(tail.find((one) => one.t === t)!.value).toBeGreaterThan(20);
      expect(fan.find((one) => one.t === t)!.value).toBe(true);
    }
    expect((await finals(holder))('tail')).toBe(0);
  });

  it('the rest of a duty guard survives kill -9: the step is refused until it is over', async () => {
    let holder = await onStage();
    await holder.ask('cue.run', { cue: 'pump', wait: true });
    const openedMs = Date.now();
    // Noted in the tick in which the relay opens; a second later it is on the disk.
    await holder.untilState(() => Date.now() > openedMs + 1000);
    await daemon.kill();
    daemon = await Daemon.start({ folder: daemon.folder });
    holder = await Peer.holder(daemon);
    await holder.ask('state.follow', { hz: 50 });
    await holder.ask('cue.run', { cue: 'pump', wait: true });
    const [refused] = (await journal(holder)).filter(({ what }) => what === 'refused');
    expect(refused!.text).toMatch(/^cue pump, step 1: pump has used up its 0\.5 s and rests; /);
    expect(refused!.values).toMatchObject({ cue: 'pump', step: 0, code: 'duty.rest' });
    const leftS = refused!.values!.secondsLeft as number;
    const restedS = (Date.parse(refused!.time) - openedMs) / 1000;
    expect(Math.abs(leftS + restedS - 5)).toBeLessThan(0.3);

    await holder.untilState(() => Date.now() > openedMs + 5300);
    await holder.ask('cue.run', { cue: 'pump', wait: true });
    expect(values(holder.states, 'pump').some(({ value }) => value === true)).toBe(true);
    expect(texts(await journal(holder), 'refused')).toHaveLength(1);
  });

  it('a cue that overloads a rail is slowed down, and says so', async () => {
    const holder = await onStage();
    const startMs = Date.now();
    await holder.ask('cue.run', { cue: 'heavy', wait: true });
    // The second arm waits for the first, which takes 1 s, and then takes 0.5 s.
    expect(Date.now() - startMs).toBeGreaterThan(1450);
    const delayed = texts(await journal(holder), 'delayed');
    expect(delayed).toContainEqual(
      expect.stringMatching(/^cue heavy, step 2: waits until rail six has room/),
    );
    for (const { rails } of holder.states) expect(rails.six!.amps).toBeLessThanOrEqual(1);
    const at = await finals(holder);
    for (const arm of ['arm_1', 'arm_2']) expect(at(arm)).toBe(30);
  });

  it('park during a cue: nothing of it goes on, and who waits for it is told', async () => {
    const holder = await onStage();
    const waiting = holder.call('cue.run', { cue: 'long', wait: true });
    await holder.untilState(({ channels: { fan } }) => fan?.value === true);
    const guest = await Peer.connect(daemon);
    await guest.ask('session.open', { client: 'guest' });
    await guest.ask('park', { wait: true });
    const { error } = await waiting;
    expect(error!.code).toBe(CODES.condition);
    expect(error!.data.reason).toMatch(/^cue long was ended early/);
    const parked = await holder.untilState(({ condition }) => condition === 'parked');
    const late = await holder.untilState(({ t }) => t > parked.t + 2);
    expect(late.condition).toBe('parked');
    expect(values(holder.states, 'pump').some(({ value }) => value === true)).toBe(false);
    const at = await finals(holder);
    expect([at('fan'), at('tail')]).toEqual([false, 0]);
    expect(texts(await journal(guest), 'cue')).toEqual(['cue long runs', 'cue long ended early']);
  });

  it('20 cues run at once on 64 channels', async () => {
    const BOARDS = 4;
    const PINS = [5, 6, 12, 13, 16, 17, 18, 19, 20, 21, 22, 23, 24, 25, 26, 27];
    const CUES = 20;
    // Of each board's 16 pins ten drive servos, four lamps and two relays.
    const channels: Record<string, object> = {};
    const servos: string[] = [];
    const lamps: string[] = [];
    const relays: string[] = [];
    for (let board = 1; board <= BOARDS; board++)
      for (const [i, pin] of PINS.entries()) {
        const output = { board: `board_${board}`, pin };
        const kind = i < 10 ? 'servo' : i < 14 ? 'lamp' : 'relay';
        const name = `${kind}_${board}_${i}`;
        if (kind === 'servo') {
          channels[name] = servo(pin, { output });
          servos.push(name);
        } else if (kind === 'lamp') {
          channels[name] = { kind, output, park: { to: 0 } };
          lamps.push(name);
        } else {
          channels[name] = relay(pin, { output });
          relays.push(name);
        }
      }
    const cues = Object.fromEntries(
      Array.from({ length: CUES }, (_, i) => {
        const [one, other] = [servos[2 * i]!, servos[2 * i + 1]!];
        const lamp = i < lamps.length ? { [lamps[i]!]: 0.8 } : undefined;
        const contact = i < relays.length ? { [relays[i]!]: 'on' } : undefined;
        return [
          `cue_${i}`,
          [
            { at: 0, move: { [one]: 30, [other]: -30 }, overS: 1 + i / 20, name: 'out' },
            {
              after: 'out',
              move: { [one]: 10 + i, [other]: -10 - i },
              ease: 'ease-in-out',
              overS: 1,
            },
            ...(lamp ? [{ at: 0.5, dim: lamp, fadeS: 1 }] : []),
            ...(contact ? [{ at: 0.7, switch: contact, forS: 1.5 }] : []),
          ],
        ];
      }),
    );
    const boards = Object.fromEntries(
      Array.from({ length: BOARDS }, (_, i) => [`board_${i + 1}`, { driver: 'sim' }]),
    );
    expect(Object.keys(channels)).toHaveLength(64);
    daemon = await Daemon.start({ prop: await propFile('crowd', { boards, channels, cues }) });
    const holder = await Peer.holder(daemon);
    await holder.ask('state.follow', { hz: 50 });
    const waiting = Object.keys(cues).map((cue) => holder.ask('cue.run', { cue, wait: true }));
    const list = (await holder.ask('cue.list')).cues as Record<string, { running: boolean }>;
    expect(Object.values(list).filter(({ running }) => running)).toHaveLength(CUES);
    await Promise.all(waiting);
    const entries = await journal(holder);
    for (const what of ['refused', 'slower', 'delayed', 'stalled', 'fault'])
      expect(texts(entries, what), what).toEqual([]);
    expect(texts(entries, 'cue').filter((text) => text.endsWith('is over'))).toHaveLength(CUES);
    const at = await finals(holder);
    for (let i = 0; i < CUES; i++) {
      expect(at(servos[2 * i]!)).toBe(10 + i);
      expect(at(servos[2 * i + 1]!)).toBe(-10 - i);
    }
    for (const lamp of lamps) expect(at(lamp)).toBe(0.8);
    for (const contact of relays) {
      expect(at(contact)).toBe(false);
      expect(values(holder.states, contact).some(({ value }) => value === true)).toBe(true);
    }
  });
});
