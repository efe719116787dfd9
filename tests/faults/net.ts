import { type ChildProcess, execFileSync, spawn } from 'node:child_process';
import { randomBytes } from 'node:crypto';
import { existsSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { Daemon, Peer } from '../system/daemon.ts';
import { needTools } from '../tools.ts';
import type { Seen, Spoilt } from './wire.ts';

const here = (name: string) => fileURLToPath(new URL(name, import.meta.url));

export const ARM = here('arm.yaml');

const ip = (...args: string[]) => execFileSync('ip', args, { stdio: ['ignore', 'pipe', 'pipe'] });

/**
 * Two machines and the cable between them, as network namespaces joined by veth pairs:
 *
 *     laptop ──veth── cable (wire.ts) ──veth── board       the link that is spoiled
 *     the test ──────────────veth───────────── board       a link that is always good, to watch by
 */
export class Net {
  daemon!: Daemon;
  readonly token = randomBytes(16).toString('hex');
  readonly #names: { laptop: string; cable: string; board: string };
  /** Of the two networks, each with room for two machines; this process's own, as runs may overlap. */
  readonly #subnet: string;
  readonly #folder = mkdtempSync(join(tmpdir(), 'sinew-net-'));
  readonly #cable: ChildProcess;
  #spoilt: Spoilt = {};

  private constructor() {
    const { pid } = process;
    this.#subnet = `10.${64 + ((pid >> 8) & 63)}.${pid & 255}`;
    const [laptop, cable, board] = ['l', 'c', 'b'].map((end) => `sinew-${end}-${pid}`);
    this.#names = { laptop: laptop!, cable: cable!, board: board! };
    for (const name of Object.values(this.#names)) ip('netns', 'add', name);
    this.#join('laptop', 'up0', 'cable', 'up1');
    this.#join('board', 'down0', 'cable', 'down1');
    this.#address('laptop', 'up0', 1);
    this.#address('board', 'down0', 2);
    const watch = `sinew${pid}`;
    ip('link', 'add', watch, 'type', 'veth', 'peer', 'name', 'watch', 'netns', board!);
    ip('address', 'add', `${this.#subnet}.5/30`, 'dev', watch);
    ip('link', 'set', watch, 'up');
    this.#address('board', 'watch', 6);
    this.#cable = spawn(
      'ip',
      [
        ...['netns', 'exec', cable!, process.execPath],
        ...['--import', 'tsx', here('wire.ts'), 'up1', 'down1'],
      ],
      { stdio: ['ignore', 'inherit', 'inherit', 'ipc'] },
    );
    writeFileSync(join(this.#folder, 'token'), this.token, { mode: 0o600 });
  }

  /** With a daemon on the arm that listens to both links. @throws Error where the machine has no namespaces */
  static async make(): Promise<Net> {
    if (process.platform !== 'linux' || process.getuid?.() !== 0)
      throw new Error(
        'network namespaces are needed for the faults of links, and root for them. Type: sudo npm test',
      );
    needTools('the faults of links', ['iproute2'], () =>
      ['/sbin/ip', '/usr/sbin/ip', '/bin/ip'].some(existsSync) ? [] : ['ip'],
    );
    const net = new Net();
    try {
      await answer(net.#cable);
      net.daemon = await Daemon.start({
        prop: ARM,
        through: ['ip', 'netns', 'exec', net.#names.board],
        args: ['--listen', '0.0.0.0:0', '--token-file', join(net.#folder, 'token')],
      });
    } catch (error) {
      await net.close();
      throw error;
    }
    return net;
  }

  #join(one: End, at: string, other: End, otherAt: string): void {
    const netns = (end: End) => ['netns', this.#names[end]];
    ip(
      'link',
      'add',
      at,
      ...netns(one),
      'type',
      'veth',
      ...['peer', 'name', otherAt, ...netns(other)],
    );
    for (const [end, name] of [
      [one, at],
      [other, otherAt],
    ] as const) {
      ip('-n', this.#names[end], 'link', 'set', name, 'up');
    }
  }

  #address(end: End, at: string, host: number): void {
    ip('-n', this.#names[end], 'address', 'add', `${this.#subnet}.${host}/30`, 'dev', at);
    ip('-n', this.#names[end], 'link', 'set', at, 'up');
  }

  /** Spoils the cable from now on; what it has seen until then. */
  spoil(spoilt: Spoilt): Promise<Seen> {
    this.#spoilt = spoilt;
    return this.seen();
  }

  seen(): Promise<Seen> {
    this.#cable.send(this.#spoilt);
    return answer(this.#cable) as Promise<Seen>;
  }

  /** An observer on the link that is always good, who follows the state 50 times a second. */
  async observer(): Promise<Peer> {
    const peer = await Peer.connect(this.daemon, true, `${this.#subnet}.6`);
    await peer.ask('session.open', { client: 'observer', token: this.token });
    await peer.ask('state.follow', { hz: 50 });
    return peer;
  }

  /** A client that has woken the prop and moves it to and fro; see laptop.ts. */
  async laptop({ stubborn = false, everyMs = 40 } = {}): Promise<ChildProcess> {
    const url = `ws://${this.#subnet}.2:${this.daemon.port}/api`;
    const what = {
      url,
      token: this.token,
      channel: 'arm',
      marks: ['up', 'down'],
      everyMs,
      stubborn,
    };
    const child = spawn(
      'ip',
      [
        ...['netns', 'exec', this.#names.laptop, process.execPath],
        ...['--import', 'tsx', here('laptop.ts'), JSON.stringify(what)],
      ],
      { stdio: ['ignore', 'inherit', 'inherit', 'ipc'] },
    );
    await answer(child);
    return child;
  }

  async close(): Promise<void> {
    await this.daemon?.cleanUp();
    this.#cable.kill('SIGKILL');
    for (const name of Object.values(this.#names)) ip('netns', 'delete', name);
    rmSync(this.#folder, { recursive: true });
  }
}

type End = 'laptop' | 'cable' | 'board';

/** The next thing that a child says. @throws Error when it ends instead */
function answer(child: ChildProcess): Promise<unknown> {
  return new Promise((resolve, reject) => {
    const ended = () => reject(new Error(`${child.spawnargs.join(' ')} has ended`));
    child.once('exit', ended);
    child.once('message', (message) => {
      child.off('exit', ended);
      resolve(message);
    });
  });
}
