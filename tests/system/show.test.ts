import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest';
import { topics } from '../../src/show/wire.ts';
import { Mosquitto, PASSWORDS } from '../mosquitto.ts';
import { Conductor } from '../show/conductor.ts';
import { Daemon, OWL, Peer } from './daemon.ts';

// A real daemon and a real broker, with passwords, rights and TLS.

let broker: Mosquitto;
let conductor: Conductor;
let daemon: Daemon;
let home: string;

beforeAll(async () => {
  broker = await Mosquitto.make();
  home = await mkdtemp(join(tmpdir(), 'sinew-show-'));
  const owl = await readFile(OWL, 'utf8');
  await writeFile(
    join(home, 'prop.yaml'),
    `${owl.replace(/^cues:$/m, 'cues:\n  glow: [{ at: 0, dim: { lantern: 0.4 }, fadeS: 1 }]')}
show:
  name: foyer
  prop: owl
  groups: [birds]
  parkAfterS: 0.5
  # The machine of a test may be busy.
  maxUncertaintyMs: 200
  broker:
    url: mqtts://127.0.0.1:${broker.tlsPort}
    username: owl
    passwordFile: ${broker.passwordFile}
    caFile: ${broker.caFile}
`,
  );
});
afterAll(async () => {
  await broker?.cleanUp();
  await rm(home, { recursive: true, force: true });
});
beforeEach(async () => {
  await broker.start();
  conductor = await Conductor.connect(broker);
  daemon = await Daemon.start({ prop: join(home, 'prop.yaml') });
});
afterEach(async () => {
  await daemon.cleanUp();
  await conductor.close();
  await broker.kill();
});

async function observer(client = 'tablet'): Promise<Peer> {
  const peer = await Peer.connect(daemon);
  await peer.ask('session.open', { client });
  await peer.ask('state.follow', { hz: 20 });
  return peer;
}

/** Armed by somebody who has left since; the owl knows the conductor's clock. */
async function armed(): Promise<Peer> {
  const peer = await observer();
  await peer.ask('lease.take');
  await peer.ask('show.arm');
  await peer.ask('lease.release');
  await conductor.status(
    'owl',
    (status) => status.armed && status.clocks.some(({ clock }) => clock === conductor.clock),
  );
  return peer;
}

async function texts(peer: Peer, what: string): Promise<string[]> {
  const { entries } = await peer.ask('journal.read', { limit: 1000 });
  return (entries as { what: string; text: string }[])
    .filter((entry) => entry.what === what)
    .map(({ text }) => text);
}

const runs = async (peer: Peer, cue = 'glow') =>
  (await texts(peer, 'cue')).filter((text) => text === `cue ${cue} runs`).length;

describe('a prop in a show', () => {
  it('tells what it is and does; a go that nobody has armed it for moves nothing', async () => {
    const first = await conductor.status('owl', ({ clocks }) => clocks.length > 0);
    expect(first).toMatchObject({ condition: 'parked', armed: false, runs: [], groups: ['birds'] });
    expect(first.cues).toContain('glow');
    // Both clocks are this machine's: the conductor's is an hour ahead.
    const [{ offsetMs, uncertaintyMs }] = first.clocks as [(typeof first.clocks)[0]];
    expect(Math.abs(offsetMs - 3_600_000)).toBeLessThan(uncertaintyMs);
    expect(JSON.parse(await broker.retained(topics.status('foyer', 'owl')))).toMatchObject({
      gone: false,
      name: 'Foyer owl',
    });
    const { id } = await conductor.send(conductor.go('glow', 1000));
    expect(await conductor.answer(id)).toMatchObject({
      outcome: 'refused',
      code: 'show.not-armed',
    });
    const peer = await observer();
    expect(peer.states.every(({ condition }) => condition === 'parked')).toBe(true);
    await daemon.kill('SIGKILL');
    await conductor.gone('owl');
  });

  it('starts its cue at its time, once, whatever is repeated or retained; then it parks', async () => {
    const peer = await armed();
    const go = conductor.go('glow', 3000);
    await conductor.send(go, topics.groupCommand('foyer', 'birds'));
    await conductor.answer(go.id, 'waits');
    const { startedMs } = await conductor.answer(go.id, 'done');
    const lateMs = startedMs! - (go as { atMs: number }).atMs;
    // One tick, and what the clocks are not known to; a start later than 50 ms would have been refused.
    expect(Math.abs(lateMs)).toBeLessThan(60);
    const text = JSON.stringify(go);
    await broker.publish(topics.command('foyer', 'owl'), text);
    await broker.publish(topics.allCommand('foyer'), text);
    const kept = conductor.go('glow', 1500);
    await broker.publish(topics.allCommand('foyer'), JSON.stringify(kept), '-r');
    await conductor.status('owl', ({ problems }) => problems.some((one) => /retained/.test(one)));
    await peer.untilState(({ condition }) => condition === 'parked');
    expect(await runs(peer)).toBe(1);
    expect(conductor.answers.some(({ id }) => id === kept.id)).toBe(false);
    // Retained for ever, and the prop starts again.
    await daemon.kill();
    daemon = await Daemon.start({ folder: daemon.folder });
    const again = await armed();
    await sleep(1600);
    expect(await runs(again)).toBe(0);
    await broker.publish(topics.allCommand('foyer'), '', '-r');
  });

  it('is stopped by another library; the stop latches, and disarms', async () => {
    const peer = await armed();
    const { id } = await conductor.send(conductor.go('glow', 3000));
    await conductor.answer(id, 'waits');
    await broker.publish(
      topics.allCommand('foyer'),
      JSON.stringify({ ...conductor.base(), act: 'stop', category: 1 }),
    );
    const status = await conductor.status('owl', ({ condition }) => condition === 'stopped');
    expect(status).toMatchObject({ armed: false, cause: { who: 'show foyer (desk)' } });
    expect(await conductor.answer(id, 'refused')).toMatchObject({ code: 'show.not-armed' });
    expect(await runs(peer)).toBe(0);
    const next = await conductor.send(conductor.go('glow', 3000));
    expect(await conductor.answer(next.id)).toMatchObject({ code: 'show.not-armed' });
  });

  it('takes what is not a command for nothing, however much of it, and goes on', async () => {
    const peer = await armed();
    const topic = topics.command('foyer', 'owl');
    for (const wrong of ['{', '[]', '{"v":1}', 'x'.repeat(20_000), '{"act":"stop"}'])
      await broker.publish(topic, wrong);
    const jog = { ...conductor.base(), act: 'jog', channel: 'beak', byDeg: 5 };
    // Fewer than the broker keeps for a prop that is slow: what is beyond it would drop, a stop included.
    const flood = Array.from({ length: 400 }, (_, i) =>
      conductor.send(i % 2 === 0 ? { ...conductor.base(), act: 'end' } : (jog as never), topic),
    );
    const startMs = performance.now();
    await peer.ask('cue.list');
    expect(performance.now() - startMs).toBeLessThan(2000);
    await Promise.all(flood);
    // A stop still gets through.
    await conductor.send({ ...conductor.base(), act: 'stop', category: 0 }, topic);
    await peer.untilState(({ condition }) => condition === 'stopped');
    await conductor.status('owl', ({ condition }) => condition === 'stopped');
    expect(await texts(peer, 'fault')).toEqual([]);
  });
});

describe('a broker', () => {
  it('that is killed: the cue finishes and the prop parks; it comes back by itself', async () => {
    const peer = await armed();
    const { id } = await conductor.send(conductor.go('glow', 3000));
    const late = await conductor.send(conductor.go('glow', 20_000));
    await conductor.answer(id, 'done');
    await conductor.answer(late.id, 'waits');
    await broker.kill();
    await peer.untilState(({ condition }) => condition === 'parked');
    expect(await texts(peer, 'show')).toContainEqual(
      expect.stringMatching(/^the broker of the show is lost/),
    );
    // On a machine that is far too busy the daemon itself stands still, and parks for that.
    if ((await texts(peer, 'stalled')).length === 0)
      expect((await texts(peer, 'cue')).filter((text) => /stopped|early/.test(text))).toEqual([]);
    expect(await texts(peer, 'refused')).toContainEqual(expect.stringContaining('was lost before'));
    conductor.statuses.clear();
    await broker.start();
    await conductor.status('owl', ({ condition }) => condition === 'parked');
    await armed();
    const next = await conductor.send(conductor.go('glow', 3000));
    await conductor.answer(next.id, 'done');
    expect(await runs(peer)).toBe(2);
  });

  it('whose certificate nobody has signed, or cannot be read, is not trusted', async () => {
    await daemon.cleanUp();
    const text = await readFile(join(home, 'prop.yaml'), 'utf8');
    const file = join(home, 'other.yaml');
    for (const [ca, words] of [
      ['show-password', /broker cannot be reached/],
      ['none.pem', /cannot be read \(ENOENT\)/],
      ['other.pem', /self.signed|unable to verify|certificate/],
    ] as const) {
      await writeFile(file, text.replace(/caFile: .*/, `caFile: ${join(broker.folder, ca)}`));
      daemon = await Daemon.start({ prop: file });
      const peer = await observer();
      while (!(await texts(peer, 'show')).some((one) => words.test(one))) await sleep(50);
      const all = (await texts(peer, 'show')).join();
      expect(all).not.toContain(PASSWORDS.owl);
      expect(all).not.toContain('thread ended');
      if (ca !== 'other.pem') await daemon.cleanUp();
    }
  });

  it('that hangs holds up nothing, and counts as lost', async () => {
    const peer = await armed();
    broker.signal('SIGSTOP');
    const startMs = performance.now();
    while (!(await texts(peer, 'show')).some((text) => /silent/.test(text))) await sleep(50);
    expect(performance.now() - startMs).toBeLessThan(15_000);
    await peer.ask('lease.take');
    await peer.ask('wake', { wait: true });
    broker.signal('SIGCONT');
    conductor.statuses.clear();
    await conductor.status('owl', ({ condition }) => condition === 'live');
  });

  it('that refuses the password is told of, and the password is nowhere', async () => {
    await daemon.cleanUp();
    await broker.kill();
    await broker.setPasswords({ ...PASSWORDS, owl: 'another one' });
    await broker.start();
    daemon = await Daemon.start({ prop: join(home, 'prop.yaml'), args: ['--log', 'debug'] });
    const peer = await observer();
    while (!(await texts(peer, 'show')).some((text) => /refuses the user name/.test(text)))
      await sleep(50);
    const { entries } = await peer.ask('journal.read', { limit: 1000 });
    expect(JSON.stringify(entries) + daemon.log).not.toContain(PASSWORDS.owl);
    await broker.setPasswords(PASSWORDS);
    broker.signal('SIGHUP');
    await conductor.status('owl', ({ condition }) => condition === 'parked');
    expect(JSON.stringify([...conductor.statuses.values()])).not.toContain(PASSWORDS.owl);
  });
});
