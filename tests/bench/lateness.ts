import { spawn } from 'node:child_process';
import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { stringify } from 'yaml';
import { LATENESS_MS } from '../../src/shared/telemetry.ts';
import { ownTheBoard } from '../faults/process.ts';
import { Daemon, Peer } from '../system/daemon.ts';
import { manyServos } from './many-servos.ts';
import { quantile, type Row } from './table.ts';

const LOOP = fileURLToPath(new URL('bare-loop.mjs', import.meta.url));
const LOAD = fileURLToPath(new URL('../faults/load-worker.ts', import.meta.url));
const CHANNELS = 64;
const TICK_MS = 5;
const SECONDS = 60;
const SHARE = 0.999;
/** Of the 32 sessions one is the holder's and one the flood's. */
const FOLLOWERS = 30;
/** 120 deg at 20 deg/s: sent to and fro this often (ms), nothing arrives. */
const TURN_MS = 2500;

/** A loop of the bare runtime: how late its turns come (ms). */
async function bareLoop(): Promise<number[]> {
  const turns = (1000 * SECONDS) / TICK_MS;
  const child = spawn(process.execPath, [LOOP, String(TICK_MS), String(turns)], {
    stdio: ['ignore', 'pipe', 'inherit'],
  });
  ownTheBoard(child.pid!);
  let out = '';
  child.stdout.on('data', (data) => {
    out += data;
  });
  await new Promise((resolve) => child.once('close', resolve));
  return JSON.parse(out);
}

/** How many ticks have begun within each class of lateness, by the daemon's own count. */
async function counts(daemon: Daemon): Promise<number[]> {
  const text = await (await fetch(`${daemon.url}metrics`)).text();
  const upTo = Array.from(
    text.matchAll(/^sinew_tick_lateness_seconds_bucket\{le=".+"\} (\d+)$/gm),
    ([, count]) => Number(count),
  );
  return upTo.map((count, i) => count - (upTo[i - 1] ?? 0));
}

/** Lateness (ms) by class as if the ticks of each lay evenly within it. */
function spreadOut(classes: readonly number[]): number[] {
  return classes.flatMap((count, i) => {
    const low = LATENESS_MS[i - 1] ?? 0;
    const high = LATENESS_MS[i] ?? 2 * low;
    return Array.from({ length: count }, (_, k) => low + ((high - low) * (k + 0.5)) / count);
  });
}

/** The same classes for what was measured one by one, so that both are seen through one glass. */
function classified(late: readonly number[]): number[] {
  const classes = new Array<number>(LATENESS_MS.length + 1).fill(0);
  for (const ms of late) {
    const at = LATENESS_MS.findIndex((bound) => ms <= bound);
    classes[at < 0 ? LATENESS_MS.length : at]!++;
  }
  return classes;
}

async function clients(daemon: Daemon, kind: string, count: number): Promise<void> {
  const args = ['--import', 'tsx', LOAD, kind, daemon.port, count, SECONDS].map(String);
  const child = spawn(process.execPath, args, { stdio: ['ignore', 'ignore', 'inherit'] });
  const code = await new Promise((resolve) => child.once('close', resolve));
  if (code !== 0) throw new Error(`the clients (${kind}) ended with ${code}`);
}

/** Lateness of the ticks during `load`, while everything moves. */
async function underway(
  daemon: Daemon,
  holder: Peer,
  load: () => Promise<unknown>,
): Promise<number[]> {
  let to = 60;
  const turn = async () => {
    await holder.ask('group.move', { group: 'all', to });
    to = -to;
  };
  await turn();
  const turning = setInterval(() => void turn(), TURN_MS);
  const before = await counts(daemon);
  await load();
  const after = await counts(daemon);
  clearInterval(turning);
  return spreadOut(after.map((count, i) => count - before[i]!));
}

/** How late ticks come: quiet, and with as many clients as there may be and one that floods. */
export async function latenessRows(): Promise<Row[]> {
  const bare = spreadOut(classified(await bareLoop()));
  const folder = await mkdtemp(join(tmpdir(), 'sinew-bench-'));
  const prop = join(folder, 'prop.yaml');
  await writeFile(prop, stringify(manyServos(CHANNELS)));
  const daemon = await Daemon.start({ prop, args: ['--log', 'error'] });
  ownTheBoard(daemon.child.pid!);
  const holder = await Peer.holder(daemon);
  const quiet = await underway(
    daemon,
    holder,
    () => new Promise((resolve) => setTimeout(resolve, 1000 * SECONDS)),
  );
  const loaded = await underway(daemon, holder, () =>
    Promise.all([clients(daemon, 'follow', FOLLOWERS), clients(daemon, 'flood', 1)]),
  );
  await daemon.cleanUp();
  await rm(folder, { recursive: true });
  const ran = `p99.9 of ${quiet.length} ticks`;
  return [
    {
      measure: `tick lateness, ${CHANNELS} channels moving, ${SECONDS} s, p99.9 (ms)`,
      values: quiet,
      at: SHARE,
      baselines: bare,
      baselineName: 'a bare loop',
      target: { ratio: 1.2 },
      slower: 'same',
      note: `${ran}; a timer of the runtime rounds to whole ms, here and there`,
    },
    {
      measure: `the same with ${FOLLOWERS} followers at 50 Hz and 20,000 frames/s, p99.9 (ms)`,
      values: loaded,
      at: SHARE,
      baselines: quiet,
      baselineName: 'the same without them',
      target: { ratio: 1.5 },
      slower: 'same',
      note: `the clients share the two cores with the daemon; it goes first, as on a board of its own (p50 ${quantile(loaded, 0.5).toFixed(2)} ms)`,
    },
  ];
}

/** CPU time (s) that a process has used, by the kernel's account. */
async function cpuS(pid: number): Promise<number> {
  const fields = (await readFile(`/proc/${pid}/stat`, 'utf8')).split(') ')[1]!.split(' ');
  return (Number(fields[11]) + Number(fields[12])) / 100;
}

const FOLLOW_S = 20;

/** What it costs to tell all followers of everything that moves. */
export async function followersRow(): Promise<Row> {
  const folder = await mkdtemp(join(tmpdir(), 'sinew-bench-'));
  const prop = join(folder, 'prop.yaml');
  await writeFile(prop, stringify(manyServos(CHANNELS)));
  const daemon = await Daemon.start({ prop, args: ['--log', 'error'] });
  const holder = await Peer.holder(daemon);
  const shares: number[] = [];
  const alone: number[] = [];
  const during = async (into: number[]) => {
    const fromS = await cpuS(daemon.child.pid!);
    const fromMs = performance.now();
    await underway(daemon, holder, () => new Promise((done) => setTimeout(done, 1000 * FOLLOW_S)));
    into.push((1000 * ((await cpuS(daemon.child.pid!)) - fromS)) / (performance.now() - fromMs));
  };
  await during(alone);
  const peers = await Promise.all(
    Array.from({ length: FOLLOWERS + 1 }, async () => {
      const peer = await Peer.connect(daemon);
      await peer.ask('session.open', { client: 'follower' });
      await peer.ask('state.follow', { hz: 50 });
      return peer;
    }),
  );
  await during(shares);
  for (const peer of peers) await peer.close();
  await daemon.cleanUp();
  await rm(folder, { recursive: true });
  return {
    measure: `state of ${CHANNELS} moving channels at 50 Hz to ${peers.length} clients (share of a core)`,
    values: shares,
    baselines: alone,
    baselineName: 'the same without clients',
    target: { value: 0.3 },
  };
}
