import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import type { Condition } from '../../../src/shared/condition.ts';
import { FIELD, FLAG } from '../../../src/shared/telemetry.ts';
import { type Client, Rig, until } from '../helpers.ts';

let rig: Rig;
beforeEach(async () => {
  rig = await Rig.start();
});
afterEach(() => rig.end());

const sent = () => rig.telemetry.life(0);
const received = () => rig.telemetry.received(0);

/** The answer shows that all before it was read. */
const settle = (client: Client) => client.call('state.unfollow');

/** What the core shows at that time (s). */
const tick = (tS: number, moving = false, condition: Condition = 'live'): void =>
  rig.tick(tS, [[0, FIELD.flags, moving ? FLAG.moving : 0]], { condition });

const page = () => rig.open('page', { headers: { origin: `http://127.0.0.1:${rig.port}` } });

/** Pings come and are answered; resolves when the client has had them all. */
async function pings(client: Client, count: number): Promise<void> {
  for (let n = 0; n < count; n++) {
    let had = false;
    client.socket.once('ping', () => {
      had = true;
    });
    rig.clock.advance(100);
    await until(() => had, 'a ping');
  }
}

describe('a client without a page', () => {
  it('shows by its pongs that it receives', async () => {
    const client = await rig.open();
    const before = received();
    await pings(client, 3);
    await until(() => received() === before + 3, 'three proofs');
  });

  it('that sends but answers no ping shows nothing of the kind', async () => {
    const client = await rig.open('half-open', { autoPong: false });
    const before = { sent: sent(), received: received() };
    await pings(client, 3);
    client.socket.pong();
    client.socket.pong('nonsense');
    client.socket.pong('1e99');
    await settle(client);
    expect(sent()).toBeGreaterThan(before.sent);
    expect(received()).toBe(before.received);
  });

  it('answers that are older than the link timeout show nothing', async () => {
    const client = await rig.open('late', { autoPong: false });
    const payloads: Buffer[] = [];
    client.socket.on('ping', (payload: Buffer) => payloads.push(payload));
    await pings(client, 7);
    const before = received();
    client.socket.pong(payloads[0]);
    client.socket.pong(payloads[0]);
    await settle(client);
    expect(received()).toBe(before);
    client.socket.pong(payloads[6]);
    client.socket.pong(payloads[6]);
    client.socket.pong(payloads[5]);
    await settle(client);
    expect(received()).toBe(before + 1);
  });
});

describe('a page', () => {
  it('does not live by the pongs of its browser', async () => {
    const client = await page();
    await settle(client);
    const before = sent();
    await pings(client, 5);
    client.socket.ping();
    expect(sent()).toBe(before);
    await client.call('session.life');
    expect(sent()).toBe(before + 1);
  });

  it('that says what it has received is not believed to receive by pongs', async () => {
    const client = await page();
    tick(1);
    await client.call('session.life', { t: 1 });
    const before = received();
    await pings(client, 5);
    await client.call('session.life', { t: 1 });
    await client.call('session.life', {});
    // Not yet told to anybody.
    await client.call('session.life', { t: 1.5 });
    expect(received()).toBe(before);
    tick(2);
    // Too old: it sends, and what was sent to it hangs.
    await client.call('session.life', { t: 1.4 });
    expect(received()).toBe(before);
    await client.call('session.life', { t: 1.9 });
    expect(received()).toBe(before + 1);
  });

  it('that is hidden lives only while nothing moves', async () => {
    const client = await page();
    tick(1);
    await client.call('session.life', { t: 1, hidden: true });
    const before = sent();
    await client.call('session.life');
    expect(sent()).toBe(before + 1);
    tick(1.1, true);
    await client.call('session.life', { t: 1.1, hidden: true });
    await client.call('lease.take');
    expect(sent()).toBe(before + 1);
    tick(1.2);
    rig.send({ t: 'running', cues: ['wake'], idle: null, armed: false });
    await until(() => rig.calls().length === 1, 'a call');
    await client.call('session.life');
    expect(sent()).toBe(before + 1);
    rig.send({ t: 'running', cues: [], idle: null, armed: false });
    await client.call('cue.list');
    const still = sent();
    await client.call('session.life', { hidden: false });
    expect(sent()).toBe(still + 1);
  });
});

describe('what keeps the prop from moving', () => {
  it('is in every state while it is so, and only then', async () => {
    const client = await rig.open();
    tick(1);
    await client.call('state.follow', { hz: 10 });
    rig.clock.advance(100);
    await until(() => client.notices('state').length > 0, 'a state');
    expect(client.notices('state')[0]).not.toHaveProperty('lockout');
    expect(client.notices('state')[0]).not.toHaveProperty('guards');
    const lockout = { by: 'a', reason: 'night', time: '2026-01-01T00:00:00.000Z' };
    const guards = [{ name: 'mat', action: 'inhibit' as const }];
    rig.send({ t: 'safety', safety: { lockout, guards, notParked: null } });
    await client.call('lease.take');
    const before = client.notices('state').length;
    rig.clock.advance(100);
    await until(() => client.notices('state').length > before, 'a state');
    expect(client.notices('state').at(-1)).toMatchObject({ lockout, guards });
    expect(client.notices('state').at(-1)).not.toHaveProperty('armedForShow');
    rig.send({ t: 'running', cues: [], idle: null, armed: false, armedForShow: 'tablet' });
    await client.call('lease.take');
    const unarmed = client.notices('state').length;
    rig.clock.advance(100);
    await until(() => client.notices('state').length > unarmed, 'a state');
    expect(client.notices('state').at(-1)).toMatchObject({ armedForShow: 'tablet' });
  });

  it('tells why a prop at rest is not parked, and of no other condition', async () => {
    const client = await rig.open();
    const notParked = 'nobody knows where neck stands';
    rig.send({ t: 'safety', safety: { lockout: null, guards: [], notParked } });
    await client.call('lease.take');
    await client.call('state.follow', { hz: 10 });
    for (const [tS, condition, expected] of [
      [1, 'parked', notParked],
      [2, 'waking', undefined],
      [3, 'parked', notParked],
    ] as const) {
      tick(tS, false, condition);
      const before = client.notices('state').length;
      rig.clock.advance(100);
      await until(() => client.notices('state').length > before, 'a state');
      expect(client.notices('state').at(-1).condition).toBe(condition);
      expect(client.notices('state').at(-1).notParked).toBe(expected);
    }
    const health = await fetch(`http://127.0.0.1:${rig.port}/health`);
    // Names are for those who may open a session.
    expect(await health.json()).toMatchObject({ condition: 'parked', notParked: true });
    const other = await rig.connect();
    const opened = await other.call('session.open', { client: 'other' });
    expect(opened.result).toMatchObject({ condition: 'parked', notParked });
  });

  it('is set and cleared by any session', async () => {
    const client = await rig.open();
    expect((await client.call('lockout.set', { reason: 'night' })).result).toBeDefined();
    expect((await client.call('lockout.set', { reason: '' })).error.code).toBe(-32602);
    expect((await client.call('lockout.clear', { force: true, reason: 'x' })).result).toBeDefined();
    expect(rig.calls().map(({ method }) => method)).toEqual(['lockout.set', 'lockout.clear']);
  });
});
