import { execFile } from 'node:child_process';
import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { afterAll, beforeAll, beforeEach, expect, it } from 'vitest';
import { stringify } from 'yaml';
import { Mosquitto, PASSWORDS } from '../mosquitto.ts';
import { CLI, Daemon, OWL, Peer } from './daemon.ts';

// A show of two real daemons, conducted by the command over a real broker.

const PROPS = {
  owl: { file: OWL, password: PASSWORDS.owl, dims: 'lantern' },
  chest: {
    file: join(dirname(OWL), 'lidded-chest.yaml'),
    password: 'a chest 9012',
    dims: 'glow',
  },
};
type Name = keyof typeof PROPS;
const NAMES: Name[] = ['owl', 'chest'];

let broker: Mosquitto;
let home: string;
let daemons: Record<Name, Daemon>;
let peers: Record<Name, Peer>;

const file = (name: string) => join(home, name);
const secret = (name: string) => file(`show-password-${name}`);
const connection = (username: string) => ({
  url: `mqtts://127.0.0.1:${broker.tlsPort}`,
  username,
  passwordFile: secret(username),
  caFile: broker.caFile,
});

beforeAll(async () => {
  broker = await Mosquitto.make();
  await broker.setPasswords({ ...PASSWORDS, chest: PROPS.chest.password });
  await broker.start();
  home = await mkdtemp(join(tmpdir(), 'sinew-show-run-'));
  await writeFile(secret('conductor'), `${PASSWORDS.conductor}\n`, { mode: 0o600 });
  for (const name of NAMES) {
    const { file: source, password, dims } = PROPS[name];
    await writeFile(secret(name), `${password}\n`, { mode: 0o600 });
    // The machine of a test may be busy.
    const show = { name: 'foyer', prop: name, maxUncertaintyMs: 200, broker: connection(name) };
    const text = (await readFile(source, 'utf8')).replace(
      /^cues:$/m,
      `cues:\n  light: [{ at: 0, dim: { ${dims}: 0.4 }, fadeS: 0.5 }, { at: 1, dim: { ${dims}: 0 }, fadeS: 0.5 }]`,
    );
    await writeFile(file(`${name}.yaml`), `${text}\n${stringify({ show })}`);
  }
  await writeFile(
    file('show.yaml'),
    stringify({
      sinewShow: 1,
      name: 'foyer',
      broker: connection('conductor'),
      leadS: 4,
      props: { owl: { file: 'owl.yaml' }, chest: { file: 'chest.yaml' } },
      groups: { figures: ['owl', 'chest'] },
      timeline: [
        { at: 0, go: { owl: 'light' } },
        { at: 1, go: { chest: 'light' }, only: [{ prop: 'chest', is: 'armed' }] },
        // Nobody has stopped the owl.
        { at: 4, go: { chest: 'light' }, only: [{ prop: 'owl', is: 'stopped' }] },
        { at: 5, park: ['figures'] },
      ],
    }),
  );
});
afterAll(async () => {
  await broker?.cleanUp();
  await rm(home, { recursive: true, force: true });
});

beforeEach(async () => {
  const started = await Promise.all(
    NAMES.map(async (name) => {
      const daemon = await Daemon.start({ prop: file(`${name}.yaml`) });
      const peer = await Peer.connect(daemon);
      await peer.ask('session.open', { client: 'tablet' });
      await peer.ask('state.follow', { hz: 20 });
      await peer.ask('lease.take');
      await peer.ask('show.arm');
      await peer.ask('lease.release');
      return { name, daemon, peer };
    }),
  );
  daemons = Object.fromEntries(started.map(({ name, daemon }) => [name, daemon])) as never;
  peers = Object.fromEntries(started.map(({ name, peer }) => [name, peer])) as never;
  return async () => {
    for (const { daemon } of started) await daemon.cleanUp();
  };
});

interface Ended {
  code: number;
  said: string;
}

function conduct(...words: string[]): Promise<Ended> {
  return new Promise((resolve) => {
    execFile(process.execPath, [CLI, 'show', ...words], (error, out, err) =>
      resolve({ code: error ? Number(error.code) : 0, said: out + err }),
    );
  });
}

async function ran(name: Name): Promise<number> {
  const { entries } = await peers[name].ask('journal.read', { limit: 1000 });
  return (entries as { text: string }[]).filter(({ text }) => text === 'cue light runs').length;
}

it('plays to its end: each cue once, what has no ground is left out, and all park', async () => {
  const first = conduct('run', file('show.yaml'), '--now');
  await peers.owl.untilState(({ condition }) => condition === 'live');
  // Twice at the same time starts nothing twice.
  const second = await conduct('run', file('show.yaml'), '--now');
  expect(second).toMatchObject({ code: 1, said: expect.stringContaining('still runs or waits') });
  const { code, said } = await first;
  expect(said).toMatch(/step 1 \(go\): owl: taken/);
  expect(said).toMatch(/step 2 \(go\): chest: taken/);
  expect(said).toMatch(/step 3 \(go\): left out: its condition does not hold/);
  expect(said).toMatch(/the timeline is over/);
  expect(code).toBe(0);
  for (const name of NAMES) {
    await peers[name].untilState(({ condition }) => condition === 'parked');
    expect(await ran(name)).toBe(1);
  }
});

it('a prop that is lost is named, and the other one plays on', async () => {
  const run = conduct('run', file('show.yaml'), '--now');
  await peers.owl.untilState(({ condition }) => condition === 'waking' || condition === 'live');
  await daemons.chest.kill('SIGKILL');
  const { code, said } = await run;
  expect(code).toBe(1);
  expect(said).toMatch(/step 1 \(go\): owl: taken/);
  expect(said).toMatch(/: chest: (?!taken)/);
  await peers.owl.untilState(({ condition }) => condition === 'parked');
  expect(await ran('owl')).toBe(1);
});
