import { createSocket } from 'node:dgram';
import { get } from 'node:http';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import type { JournalEntry } from '../../../src/api/types.ts';
import type { Finding } from '../../../src/prop/finding.ts';
import type { PropView } from '../../../src/service/protocol.ts';
import { FIELD } from '../../../src/shared/telemetry.ts';
import { type Client, IN_FORCE, type Json, Rig, until, VIEW } from '../helpers.ts';

// Another version of the prop while everybody looks: nothing may show the prop as it was.

/** Another beak, no mist, a new servo in front, other rails, groups, cues and boards. */
const OTHER: PropView = {
  ...VIEW,
  version: 'fedcba9876543210',
  name: 'Foyer owl, two ears',
  linkTimeoutMs: 1000,
  channels: [
    { name: 'ear', kind: 'servo', value: 'deg' },
    { name: 'beak', kind: 'servo', value: 'deg' },
    { name: 'lantern', kind: 'lamp', value: 'lightness' },
  ],
  rails: [
    { name: 'servo6v', limitA: 7, volts: 6 },
    { name: 'logic5v', limitA: 3, volts: 5 },
  ],
  info: {
    ear: { kind: 'servo', groups: [], park: { to: 0 }, limitsDeg: [0, 10], marks: { up: 5 } },
    beak: { ...VIEW.info.beak!, marks: { shut: 0, open: 28 } },
    lantern: VIEW.info.lantern!,
  },
  groups: { face: ['ear', 'beak'] },
  poses: ['listening'],
  cueDurationsS: { nod: 1.5 },
  idle: [],
  triggers: [],
  boards: { tail: { driver: 'pca9685', header: false, pins: [{ pin: 0, use: 'ear' }] } },
};

let rig: Rig;
let client: Client;
let ticks = 0;

function tick(...changes: [channel: number, field: number, value: number][]): void {
  ticks++;
  rig.tick(ticks / 200, changes, { amps: 1.5 });
}

function body(path: string): Promise<string> {
  return new Promise((resolve, reject) => {
    get({ host: '127.0.0.1', port: rig.port, path }, (incoming) => {
      let text = '';
      incoming.on('data', (data) => {
        text += data;
      });
      incoming.on('end', () => resolve(text));
    }).on('error', reject);
  });
}

const changes = (of: Client) => of.notices('prop.changed');
const notices = (of: Client, count: number) =>
  until(() => changes(of).length >= count, `${count} notices`);

beforeEach(async () => {
  rig = await Rig.start();
  client = await rig.open();
  ticks = 0;
  tick([0, FIELD.value, 5], [1, FIELD.value, 1]);
});
afterEach(() => rig.end());

describe('another version of the prop', () => {
  it('is told to every open session, and to no other', async () => {
    const other = await rig.open('other');
    const mute = await rig.connect();
    rig.adopt(OTHER, ['ear is new', 'mist is gone']);
    await notices(client, 1);
    await notices(other, 1);
    expect(changes(client)).toEqual([
      {
        version: OTHER.version,
        prop: OTHER.name,
        linkTimeoutMs: 1000,
        changed: ['ear is new', 'mist is gone'],
      },
    ]);
    expect(changes(other)).toEqual(changes(client));
    expect(mute.messages).toEqual([]);
  });

  it('is what everything shows from then on', async () => {
    // Everything that keeps a text has made one of the version before.
    for (const method of ['channel.list', 'cue.list', 'board.list']) await client.call(method);
    await body('/metrics');
    rig.adopt(OTHER, []);
    await notices(client, 1);
    tick([0, FIELD.value, 7], [1, FIELD.value, 28], [2, FIELD.value, 0.5]);
    const list = (await client.call('channel.list')).result;
    expect(Object.keys(list.channels)).toEqual(['ear', 'beak', 'lantern']);
    expect(list.channels.ear).toMatchObject({ value: 7, limitsDeg: [0, 10] });
    expect(list.channels.beak).toMatchObject({ value: 28, marks: { shut: 0, open: 28 } });
    expect(list.groups).toEqual(OTHER.groups);
    expect(list.poses).toEqual(['listening']);
    expect((await client.call('cue.list')).result).toEqual({
      cues: { nod: { running: false, durationS: 1.5 } },
      idle: {},
      triggers: { names: [], armed: false },
    });
    expect((await client.call('board.list')).result.boards).toEqual(OTHER.boards);
    expect(JSON.parse(await body('/health')).prop).toBe(OTHER.name);
    const metrics = await body('/metrics');
    expect(metrics).toContain('sinew_rail_limit_amperes{rail="servo6v"} 7\n');
    expect(metrics).toContain('sinew_rail_limit_amperes{rail="logic5v"} 3\n');
    const late = await rig.connect();
    expect((await late.call('session.open', { client: 'late' })).result).toMatchObject({
      prop: OTHER.name,
      linkTimeoutMs: 1000,
      version: OTHER.version,
    });
  });

  it('in the middle of a follow: one full frame, then changes; no frame mixes the two', async () => {
    await client.call('state.follow', { hz: 50 });
    const frames = () => client.notices('state');
    // The first one is due at once.
    rig.clock.advance(40);
    await until(() => frames().length === 3, 'three frames');
    rig.adopt(OTHER, []);
    await notices(client, 1);
    // The core has not written the new channels yet: there is nothing to show, and nothing is made up.
    rig.clock.advance(100);
    await client.call('park');
    expect(frames().length).toBe(3);
    tick([0, FIELD.value, 7], [1, FIELD.value, 28]);
    rig.clock.advance(20);
    await until(() => frames().length === 4, 'a frame');
    expect(Object.keys(frames()[3].channels)).toEqual(['ear', 'beak', 'lantern']);
    expect(frames()[3].rails.servo6v).toEqual({ amps: 1.5, limitA: 7 });
    expect(frames()[3].tick).toBe(2);
    tick([1, FIELD.value, 20]);
    rig.clock.advance(20);
    await until(() => frames().length === 5, 'another');
    expect(Object.keys(frames()[4].channels)).toEqual(['beak']);
  });

  it('a list that is asked for before the core has written it waits for that', async () => {
    rig.adopt(OTHER, []);
    await notices(client, 1);
    client.send({ jsonrpc: '2.0', id: 'list', method: 'channel.list' });
    await client.call('state.unfollow');
    tick([0, FIELD.value, 7]);
    rig.clock.advance(2);
    expect((await client.answer('list')).result.channels.ear.value).toBe(7);
  });

  it('and says so when the core never does', async () => {
    rig.adopt(OTHER, []);
    await notices(client, 1);
    client.send({ jsonrpc: '2.0', id: 'list', method: 'channel.list' });
    await client.call('state.unfollow');
    rig.clock.advance(100);
    const { error } = await client.answer('list');
    expect(error.data.reason).toMatch(/no tick since the prop file changed; ask again/);
  });

  it('twenty in a row: the last one counts', async () => {
    for (let n = 0; n < 20; n++)
      rig.adopt(n % 2 === 0 ? OTHER : { ...VIEW, name: `owl ${n}` }, [`change ${n}`]);
    await notices(client, 20);
    tick([0, FIELD.value, 3]);
    const { channels } = (await client.call('channel.list')).result;
    expect(Object.keys(channels)).toEqual(VIEW.channels.map(({ name }) => name));
    expect(channels.beak.value).toBe(3);
    expect(JSON.parse(await body('/health')).prop).toBe('owl 19');
  });

  it('pings follow its link timeout', async () => {
    let pings = 0;
    client.socket.on('ping', () => pings++);
    rig.adopt({ ...OTHER, linkTimeoutMs: 100 }, []);
    await notices(client, 1);
    for (let n = 0; n < 10; n++) {
      const before = pings;
      rig.clock.advance(20);
      await until(() => pings > before, 'a ping');
    }
    expect(pings).toBe(10);
  });

  it('OSC is heard where it says', async () => {
    const socket = createSocket('udp4');
    await new Promise<void>((resolve) => socket.bind(0, '127.0.0.1', resolve));
    const { port } = socket.address();
    // No session is silent for too long while the clock is put forward.
    const osc = { host: '127.0.0.1', port, perform: { '/owl/lid': { channel: 'lid' } } };
    rig.adopt({ ...OTHER, linkTimeoutMs: 1_000_000, osc }, []);
    // Somebody else has the port: the prop goes on without, and says so.
    await notices(client, 2);
    expect(changes(client)[1].problem).toMatch(/no OSC is heard.*under osc/);
    const { file } = JSON.parse(await body('/health'));
    expect(file).toEqual({ pending: false, problem: 'not in use; sinew status says why' });
    await new Promise<void>((resolve) => socket.close(() => resolve()));
    rig.clock.advance(5000);
    await notices(client, 3);
    expect(changes(client)[2]).not.toHaveProperty('problem');
    const sender = createSocket('udp4');
    const send = (message: string) =>
      new Promise((done) => sender.send(Buffer.from(message, 'latin1'), port, '127.0.0.1', done));
    await send('/owl/wake\0\0\0,\0\0\0');
    await until(() => rig.of('osc').length === 1, 'an OSC message');
    expect(rig.of('osc')).toEqual([{ t: 'osc', address: '/owl/wake' }]);
    // The float 0.5 is 3f000000 (IEEE 754), big-endian as in OSC 1.0.
    await send('/owl/lid\0\0\0\0,f\0\0\x3f\0\0\0');
    await until(() => rig.of('osc-perform').length === 1, 'a value');
    expect(rig.of('osc-perform')).toEqual([{ t: 'osc-perform', values: { '/owl/lid': 0.5 } }]);
    sender.close();
  });
});

describe('a file on the disk that is not in use', () => {
  const finding: Finding = {
    severity: 'error',
    line: 12,
    column: 5,
    path: 'channels.beak.speedDegS',
    wrong: 'must be above 0',
    right: 'give a speed in deg/s',
  };
  const findingInfo = {
    level: 'error',
    line: 12,
    column: 5,
    path: 'channels.beak.speedDegS',
    message: 'must be above 0; give a speed in deg/s',
  };
  const faulty = {
    ...IN_FORCE,
    onDisk: 'aaaaaaaaaaaaaaaa',
    problem: 'owl.yaml has 1 error; fix it, or put the version in use back',
    findings: [finding],
  };

  it('is told to all who are there, once, and to those who come later', async () => {
    rig.send({ t: 'file', status: faulty });
    rig.send({ t: 'file', status: faulty });
    await notices(client, 1);
    const expected = { changed: [], problem: faulty.problem, findings: [findingInfo] };
    expect(changes(client)).toEqual([
      { version: VIEW.version, prop: VIEW.name, linkTimeoutMs: 500, ...expected },
    ]);
    const late = await rig.connect();
    const { result } = await late.call('session.open', { client: 'late' });
    expect(result.file).toEqual(expected);
    expect(changes(client).length).toBe(1);
  });

  it('/health tells it, and stays 200', async () => {
    rig.send({ t: 'file', status: faulty });
    await notices(client, 1);
    const health = JSON.parse(await body('/health'));
    expect(health).toMatchObject({
      condition: 'live',
      file: { pending: false, problem: 'not in use; sinew status says why' },
    });
    // What stands in the file, and what it is called, is for those who may open a session.
    expect(JSON.stringify(health)).not.toMatch(/speedDegS|yaml/);
  });

  it('that waits for the prop to be parked, then is in use', async () => {
    const changed = ['limits of beak: -5 to 35 deg become -5 to 30 deg'];
    rig.send({ t: 'file', status: { ...IN_FORCE, onDisk: OTHER.version, pending: true, changed } });
    await notices(client, 1);
    expect(changes(client)[0]).toMatchObject({ version: VIEW.version, pending: true, changed });
    rig.adopt(OTHER, changed);
    rig.send({ t: 'file', status: { ...IN_FORCE, version: OTHER.version } });
    await notices(client, 2);
    await client.call('park');
    expect(changes(client).length).toBe(2);
    expect(changes(client)[1]).toEqual({
      version: OTHER.version,
      prop: OTHER.name,
      linkTimeoutMs: 1000,
      changed,
    });
    expect(JSON.parse(await body('/health'))).not.toHaveProperty('file');
  });

  it('that is put right again: all is well, and that is told', async () => {
    rig.send({ t: 'file', status: faulty });
    rig.send({ t: 'file', status: IN_FORCE });
    await notices(client, 2);
    expect(changes(client)[1]).toEqual({
      version: VIEW.version,
      prop: VIEW.name,
      linkTimeoutMs: 500,
      changed: [],
    });
  });

  it('with a thousand faults: the first errors are sent, no more', async () => {
    const warnings: Finding[] = Array(1000).fill({ ...finding, severity: 'warning' });
    rig.send({
      t: 'file',
      status: {
        ...faulty,
        findings: [...warnings, finding],
        changed: Array.from({ length: 1000 }, (_unused, n) => `change ${n}`),
      },
    });
    await notices(client, 1);
    const [{ findings, changed }] = changes(client);
    expect(findings.length).toBe(50);
    expect(findings[0]).toEqual(findingInfo);
    expect(changed.length).toBe(50);
    expect(changed.at(-1)).toBe('and 951 more');
  });

  it('at the start of this gateway is told to whoever opens a session', async () => {
    await rig.end();
    rig = await Rig.start({ status: faulty });
    const one = await rig.connect();
    const { result } = await one.call('session.open', { client: 'page' });
    expect(result.file.problem).toBe(faulty.problem);
    expect(changes(one)).toEqual([]);
  });
});

describe('the condition', () => {
  const entry = (values: Json): JournalEntry => ({
    seq: 1,
    time: '2026-01-01T00:00:00.000Z',
    who: 'bench',
    what: 'condition',
    text: 'parking: link lost',
    values,
    tick: 5,
  });

  it('is told to every session when it changes, with its cause', async () => {
    const other = await rig.open('other');
    const cause = { code: 'link.lost', who: 'prop', words: 'bench has gone' };
    rig.send({ t: 'event', entry: entry({ condition: 'parking', cause }) });
    await until(() => other.notices('condition').length === 1, 'the notice');
    expect(client.notices('condition')).toEqual([{ condition: 'parking', cause }]);
    expect(other.notices('condition')).toEqual([{ condition: 'parking', cause }]);
  });

  it('without a cause in the entry, who and text are told', async () => {
    rig.send({ t: 'event', entry: entry({ condition: 'parking' }) });
    rig.send({ t: 'event', entry: entry({ condition: 'parking', cause: 'because' }) });
    rig.send({ t: 'event', entry: entry({ condition: 'asleep' }) });
    rig.send({ t: 'event', entry: { ...entry({ condition: 'live' }), what: 'cue' } });
    await client.call('park');
    const cause = { code: 'condition.parking', who: 'bench', words: 'parking: link lost' };
    expect(client.notices('condition')).toEqual([
      { condition: 'parking', cause },
      { condition: 'parking', cause },
    ]);
  });
});
