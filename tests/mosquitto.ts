import { type ChildProcess, execFile, execFileSync, spawn } from 'node:child_process';
import { existsSync } from 'node:fs';
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { connect, createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { promisify } from 'node:util';
import { needTools } from './tools.ts';

const BROKER = '/usr/sbin/mosquitto';

/** Sees to it that the broker, its clients (another MQTT library, in C) and openssl are there. */
export function needMosquitto(): void {
  const missing = (path: string, name: string) => (existsSync(path) ? [] : [name]);
  needTools('tests of the show', ['mosquitto', 'mosquitto-clients', 'openssl'], () => [
    ...missing(BROKER, 'mosquitto'),
    ...missing('/usr/bin/mosquitto_pub', 'mosquitto-clients'),
    ...missing('/usr/bin/openssl', 'openssl'),
  ]);
}

/** The rights of the README: a prop, called as its user, may only do what props do. */
const ACL = `user conductor
topic readwrite sinew/foyer/#

pattern write sinew/foyer/prop/%u/status
pattern write sinew/foyer/prop/%u/answer
pattern write sinew/foyer/clock/ask
pattern read sinew/foyer/prop/%u/command
pattern read sinew/foyer/group/+/command
pattern read sinew/foyer/all/command
pattern read sinew/foyer/clock/here
pattern read sinew/foyer/clock/prop/%u
`;

/** The rights of the README for a prop that serves the page of the show. */
const pageRights = (prop: string) => `user ${prop}
topic read sinew/foyer/prop/+/status
topic read sinew/foyer/prop/+/answer
topic read sinew/foyer/clock/ask
topic write sinew/foyer/prop/+/command
topic write sinew/foyer/all/command
topic write sinew/foyer/clock/here
topic write sinew/foyer/clock/prop/+
`;

export const PASSWORDS = { conductor: 'a conductor 1234', owl: 'an owl 5678' } as const;

/** A real mosquitto with passwords, rights and certificates of its own, on ports of its own. */
export class Mosquitto {
  readonly folder: string;
  readonly port: number;
  readonly tlsPort: number;
  #child: ChildProcess | undefined;

  private constructor(folder: string, port: number, tlsPort: number) {
    this.folder = folder;
    this.port = port;
    this.tlsPort = tlsPort;
  }

  static async make(): Promise<Mosquitto> {
    needMosquitto();
    const folder = await mkdtemp(join(tmpdir(), 'sinew-mosquitto-'));
    const broker = new Mosquitto(folder, await freePort(), await freePort());
    await broker.#certificates();
    await broker.setPasswords(PASSWORDS);
    await writeFile(join(folder, 'acl'), ACL);
    await writeFile(
      join(folder, 'conf'),
      `${process.getuid?.() === 0 ? 'user root\n' : ''}allow_anonymous false
password_file ${join(folder, 'passwords')}
acl_file ${join(folder, 'acl')}
listener ${broker.port} 127.0.0.1
listener ${broker.tlsPort} 127.0.0.1
cafile ${broker.caFile}
certfile ${join(folder, 'broker.pem')}
keyfile ${join(folder, 'broker.key')}
`,
    );
    return broker;
  }

  get caFile(): string {
    return join(this.folder, 'ca.pem');
  }

  get passwordFile(): string {
    return join(this.folder, 'show-password');
  }

  /** The broker's passwords, and the file from which the owl reads its own. */
  async setPasswords(passwords: Readonly<Record<string, string>>): Promise<void> {
    const file = join(this.folder, 'passwords');
    await writeFile(file, '', { mode: 0o600 });
    for (const [name, password] of Object.entries(passwords))
      execFileSync('/usr/bin/mosquitto_passwd', ['-b', file, name, password]);
    await writeFile(this.passwordFile, `${PASSWORDS.owl}\n`, { mode: 0o600 });
  }

  /** Adds rights, before the broker starts. */
  async allow(rights: string): Promise<void> {
    await writeFile(join(this.folder, 'acl'), `${rights}\n${ACL}`);
  }

  allowPage(prop: string): Promise<void> {
    return this.allow(pageRights(prop));
  }

  /** An authority, and a certificate of it for 127.0.0.1. */
  async #certificates(): Promise<void> {
    const ssl = (...args: string[]) =>
      execFileSync('/usr/bin/openssl', args, { cwd: this.folder, stdio: 'ignore' });
    const key = ['-newkey', 'ec', '-pkeyopt', 'ec_paramgen_curve:P-256', '-nodes'];
    ssl(
      'req',
      '-x509',
      ...key,
      '-days',
      '2',
      '-subj',
      '/CN=Test',
      '-keyout',
      'ca.key',
      '-out',
      'ca.pem',
    );
    ssl('req', ...key, '-subj', '/CN=broker', '-keyout', 'broker.key', '-out', 'broker.csr');
    // Another authority of the same name.
    ssl(
      ...['req', '-x509', ...key, '-days', '2', '-subj', '/CN=Test'],
      ...['-keyout', 'other.key', '-out', 'other.pem'],
    );
    await writeFile(join(this.folder, 'ext'), 'subjectAltName=IP:127.0.0.1\n');
    ssl(
      ...['x509', '-req', '-in', 'broker.csr', '-CA', 'ca.pem', '-CAkey', 'ca.key'],
      ...['-CAcreateserial', '-days', '2', '-extfile', 'ext', '-out', 'broker.pem'],
    );
  }

  async start(): Promise<void> {
    this.#child = spawn(BROKER, ['-c', join(this.folder, 'conf')], { stdio: 'ignore' });
    while (!(await answers(this.port))) await sleep(20);
  }

  signal(signal: NodeJS.Signals): void {
    this.#child!.kill(signal);
  }

  async kill(): Promise<void> {
    const child = this.#child;
    this.#child = undefined;
    if (!child || child.exitCode !== null || child.signalCode !== null) return;
    const ended = new Promise((resolve) => child.once('exit', resolve));
    child.kill('SIGKILL');
    await ended;
  }

  /** Publishes with mosquitto_pub: a library of another make. */
  async publish(topic: string, text: string, ...more: string[]): Promise<void> {
    await promisify(execFile)('/usr/bin/mosquitto_pub', [
      ...this.#login('conductor'),
      ...['-q', '1', '-t', topic, '-m', text, ...more],
    ]);
  }

  /** What mosquitto_sub is given for a topic at once, which is what the broker has retained. */
  async retained(topic: string): Promise<string> {
    const { stdout } = await promisify(execFile)('/usr/bin/mosquitto_sub', [
      ...this.#login('conductor'),
      ...['-t', topic, '-C', '1', '-W', '5'],
    ]);
    return stdout.trim();
  }

  #login(user: keyof typeof PASSWORDS): string[] {
    return [
      ...['-h', '127.0.0.1', '-p', String(this.tlsPort), '--cafile', this.caFile],
      ...['-V', 'mqttv5', '-u', user, '-P', PASSWORDS[user]],
    ];
  }

  async cleanUp(): Promise<void> {
    this.#child?.kill('SIGCONT');
    await this.kill();
    await rm(this.folder, { recursive: true, force: true });
  }
}

/** A TCP port of this machine that nobody has now. */
export function freePort(): Promise<number> {
  return new Promise((resolve) => {
    const server = createServer();
    server.listen(0, '127.0.0.1', () => {
      const { port } = server.address() as { port: number };
      server.close(() => resolve(port));
    });
  });
}

function answers(port: number): Promise<boolean> {
  return new Promise((resolve) => {
    const socket = connect(port, '127.0.0.1', () => {
      socket.destroy();
      resolve(true);
    });
    socket.on('error', () => resolve(false));
  });
}
