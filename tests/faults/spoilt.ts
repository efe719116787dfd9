import { readFileSync, rmSync } from 'node:fs';
import { cp, mkdtemp, readFile, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { bundle, THREADS } from '../../build.mjs';
import { Daemon, Peer } from '../system/daemon.ts';
import { ARM } from './net.ts';

const here = (name: string) => fileURLToPath(new URL(name, import.meta.url));
const PRELOAD = here('spoil.mjs');

/** A daemon as build.mjs makes it, but for spoil-core.ts that comes before it; made once for a file of tests. */
let building: Promise<string> | undefined;
function spoiltDaemon(): Promise<string> {
  building ??= (async () => {
    // Within dist, from where the native packages are found.
    const folder = here('../../dist/spoilt');
    const threads = Object.entries(THREADS).map(([name, file]) => [
      name,
      here(`../../src/${file}`),
    ]);
    await bundle({ daemon: here('spoilt-daemon.ts'), ...Object.fromEntries(threads) }, folder);
    for (const served of ['page', 'show-page'])
      await cp(here(`../../dist/${served}`), join(folder, served), { recursive: true });
    return join(folder, 'daemon.js');
  })();
  return building;
}

/** What a sim board was told, or a mark of the fault, with its time (ms since the epoch, monotonic). */
interface Noted {
  ms: number;
  pin?: string;
  value?: number;
  mark?: string;
}

export interface Entry {
  seq: number;
  time: string;
  who: string;
  what: string;
  text: string;
}

export const sleep = (ms: number) => new Promise((resolve) => setTimeout(resolve, ms));

/** A daemon on the arm that is about to suffer a fault of spoil.mjs, and a record of its pins. */
export class Spoilt {
  readonly daemon: Daemon;
  readonly #pins: string;

  private constructor(daemon: Daemon, pins: string) {
    this.daemon = daemon;
    this.#pins = pins;
  }

  /**
   * @param edit changes the text of the prop file first
   * @param folder an earlier daemon's
   */
  static async start(
    fault: string,
    {
      edit = (text: string) => text,
      env = {} as NodeJS.ProcessEnv,
      folder = undefined as string | undefined,
    } = {},
  ): Promise<Spoilt> {
    const home = await mkdtemp(join(tmpdir(), 'sinew-spoilt-'));
    const pins = join(home, 'pins');
    const prop = join(home, 'prop.yaml');
    await writeFile(pins, '');
    await writeFile(prop, edit(await readFile(ARM, 'utf8')));
    const daemon = await Daemon.start({
      prop,
      program: await spoiltDaemon(),
      nodeArgs: ['--import', PRELOAD],
      env: { SINEW_FAULT: fault, SINEW_PINS: pins, ...env },
      ...(folder !== undefined && { folder }),
    });
    return new Spoilt(daemon, pins);
  }

  /** A holder of the lease in the middle of a long move of the arm, with the horn on. */
  async moving(): Promise<Peer> {
    const holder = await Peer.holder(this.daemon);
    await holder.ask('channel.switch', { channel: 'horn', on: true });
    await holder.ask('channel.move', { channel: 'arm', to: 'up', overS: 3 });
    await sleep(300);
    return holder;
  }

  /** Brings on the fault; its time (ms since the epoch). */
  bringOn(): number {
    this.daemon.child.kill('SIGUSR2');
    return Date.now();
  }

  get noted(): Noted[] {
    const lines = readFileSync(this.#pins, 'utf8').trim().split('\n');
    return lines.filter(Boolean).map((line) => JSON.parse(line));
  }

  /** When a pin was last told something else than `value` before it kept it (ms); the value must be there. */
  since(pin: string, value: number): number {
    const entries = this.noted.filter((one) => one.pin === pin);
    if (entries.at(-1)?.value !== value) return Number.POSITIVE_INFINITY;
    const at = entries.findLastIndex((one) => one.value !== value);
    return entries[at + 1]!.ms;
  }

  /** Entries of the journal as the log has them: there also while the gateway is gone. */
  get entries(): { what: string; msg: string; time: number }[] {
    return this.daemon.log
      .split('\n')
      .filter((line) => line.startsWith('{'))
      .map((line) => JSON.parse(line));
  }

  async journal(): Promise<Entry[]> {
    const peer = await Peer.connect(this.daemon);
    await peer.ask('session.open', { client: 'reader' });
    const { entries } = await peer.ask('journal.read', { limit: 1000 });
    peer.socket.terminate();
    return entries as Entry[];
  }

  async cleanUp(): Promise<void> {
    await this.daemon.cleanUp();
    rmSync(join(this.#pins, '..'), { recursive: true });
  }
}

export async function until(
  what: () => boolean | Promise<boolean>,
  limitMs = 10_000,
): Promise<void> {
  for (const endMs = Date.now() + limitMs; !(await what()); await sleep(10))
    if (Date.now() > endMs) throw new Error(`not within ${limitMs} ms: ${what}`);
}
