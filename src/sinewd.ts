import { createHash } from 'node:crypto';
import { readFile, realpath } from 'node:fs/promises';
import { homedir } from 'node:os';
import { basename, extname, join, resolve } from 'node:path';
import { parseArgs } from 'node:util';
import type { Worker } from 'node:worker_threads';
import type { Logger } from 'pino';
import * as z from 'zod';
import { Commands } from './core/commands.ts';
import { Core } from './core/core.ts';
import { Journal } from './core/journal.ts';
import { Loop } from './core/loop.ts';
import type { GatewayStart, JournalEntry, ToCore } from './core/requests.ts';
import { FileStore } from './core/store.ts';
import { Turns } from './core/turns.ts';
import type { Driver } from './drivers/driver.ts';
import { createDriver } from './drivers/index.ts';
import { GatewayHost } from './gateway/host.ts';
import { isLoopback } from './gateway/origin.ts';
import { hashToken, readTokenFile } from './gateway/token.ts';
import { LastKnown } from './prop/last-known.ts';
import { formatFinding } from './prop/load.ts';
import { PropFile } from './prop/save.ts';
import { safePlan, writePlan } from './safe-plan.ts';
import { systemClock } from './shared/clock.ts';
import { Refusal } from './shared/errors.ts';
import { fitTimersMs } from './shared/fit-timers.ts';
import { makeLog } from './shared/log.ts';
import { Telemetry } from './shared/telemetry.ts';
import { feedWatchdog, type Notify, openNotify, Vitals, watchdogMs } from './systemd.ts';

const USAGE = `sinewd --prop FILE [--listen HOST:PORT] [--token-file F] [--state-dir D]

  --prop FILE         the prop file
  --listen HOST:PORT  where to listen; 127.0.0.1:7420 without it
  --token-file F      a file (mode 0600) that holds the token clients must show;
                      needed for any address but this machine's own
  --state-dir D       where positions and duty guards are kept across restarts
  --log LEVEL         debug, info (default), warn or error
  --version, --help
`;

/** A gateway that stands still gets this much longer than the prop needs to park by itself (ms). */
const GATEWAY_SPARE_MS = 1000;
/** After its outputs are safe the daemon must end within this (ms). */
const LEAVE_MS = 5000;

const EXIT = { done: 0, refused: 1, usage: 2 } as const;

class Usage extends Error {}

interface Options {
  prop: string;
  host: string;
  port: number;
  tokenFile: string | undefined;
  stateDir: string | undefined;
  logLevel: string;
}

function readOptions(argv: readonly string[]): Options | 'help' | 'version' {
  let values: Record<string, string | boolean | undefined>;
  try {
    ({ values } = parseArgs({
      args: [...argv],
      options: {
        prop: { type: 'string' },
        listen: { type: 'string', default: '127.0.0.1:7420' },
        'token-file': { type: 'string' },
        'state-dir': { type: 'string' },
        log: { type: 'string', default: 'info' },
        version: { type: 'boolean' },
        help: { type: 'boolean' },
      },
    }));
  } catch (error) {
    throw new Usage((error as Error).message);
  }
  if (values.help) return 'help';
  if (values.version) return 'version';
  if (typeof values.prop !== 'string') throw new Usage('--prop FILE is missing');
  const logLevel = String(values.log);
  if (!['debug', 'info', 'warn', 'error'].includes(logLevel))
    throw new Usage(`--log ${logLevel}: use debug, info, warn or error`);
  return {
    prop: values.prop,
    ...readListen(String(values.listen)),
    tokenFile: values['token-file'] as string | undefined,
    stateDir: values['state-dir'] as string | undefined,
    logLevel,
  };
}

function readListen(text: string): { host: string; port: number } {
  const match = /^(?:\[([^\]]+)\]|([^:]*)):(\d{1,5})$/.exec(text);
  const host = match?.[1] ?? match?.[2];
  const port = Number(match?.[3]);
  if (!host || port > 65_535)
    throw new Usage(`--listen ${text}: give HOST:PORT, such as 127.0.0.1:7420 or [::1]:7420`);
  return { host, port };
}

/** Where this prop's state is kept: given, systemd's, or the user's own place for such things. */
async function stateDir(options: Options): Promise<string> {
  if (options.stateDir) return resolve(options.stateDir);
  if (process.env.STATE_DIRECTORY) return process.env.STATE_DIRECTORY;
  const file = await realpath(options.prop);
  const id = createHash('sha256').update(file).digest('hex').slice(0, 8);
  const home = process.env.XDG_STATE_HOME || join(homedir(), '.local', 'state');
  return join(home, 'sinew', `${basename(file, extname(file))}-${id}`);
}

/** Commands are many and wanted only in search of a fault; what the prop does by itself is news. */
function logEntry(log: Logger, entry: JournalEntry): void {
  const { text, what, who, values } = entry;
  const level =
    what === 'fault' || what === 'link lost' ? 'warn' : what.includes('.') ? 'debug' : 'info';
  log[level]({ who, what, ...(values && { values }) }, text);
}

async function run(gatewayThread: Worker): Promise<void> {
  const options = readOptions(process.argv.slice(2));
  if (options === 'help') return void process.stdout.write(USAGE);
  if (options === 'version') {
    const own = await readFile(new URL('../package.json', import.meta.url), 'utf8');
    return void process.stdout.write(`sinewd ${JSON.parse(own).version}\n`);
  }
  // One prop is checked, once: compiled checks would not pay.
  z.config({ jitless: true });
  const { propFile, loaded } = await PropFile.open(options.prop);
  for (const finding of loaded.findings)
    process.stderr.write(`${formatFinding(finding, options.prop)}\n`);
  const { prop } = loaded;
  if (!prop || !propFile)
    throw new Refusal('invalidParams', `${options.prop} has errors; nothing was started`);
  if (!options.tokenFile && !isLoopback(options.host))
    throw new Usage(
      `--listen ${options.host} can be reached from other machines and needs --token-file; make one with: openssl rand -hex 32 > token; chmod 600 token`,
    );
  const token = options.tokenFile ? await readTokenFile(options.tokenFile) : undefined;

  const forPeople = process.stderr.isTTY === true;
  const log = await makeLog('sinewd', options.logLevel, forPeople);
  const notify = await openNotify(process.env);
  const folder = await stateDir(options);
  const lastKnown = new LastKnown(await realpath(options.prop), folder);
  await lastKnown.check(loaded.text);
  const store = await FileStore.open(folder, (error) =>
    log.error({ err: error }, 'the state could not be saved; the prop goes on without it'),
  );
  const telemetry = Telemetry.create(
    Object.keys(prop.channels).length,
    Object.keys(prop.rails).length,
  );
  const journal = new Journal(systemClock, (entry) => {
    logEntry(log, entry);
    gateway.post({ t: 'event', entry });
  });

  const start: GatewayStart = {
    host: options.host,
    port: options.port,
    tokenHash: token === undefined ? null : hashToken(token),
    prop: prop.name,
    propFile: options.prop,
    linkTimeoutMs: prop.link.timeoutMs,
    channels: Object.entries(prop.channels).map(([name, { kind }]) => ({ name, kind })),
    rails: Object.entries(prop.rails).map(([name, rail]) => ({ name, ...rail })),
    osc: prop.osc ?? null,
    telemetry: telemetry.buffers,
    logLevel: options.logLevel,
    pretty: forPeople,
  };
  const gateway = new GatewayHost(
    start,
    {
      message: (message) => handle(message),
      died(why, retryMs) {
        const text = `the gateway died: ${why}; it starts again in ${retryMs} ms`;
        journal.add('prop', 'gateway', text);
        commands.allGone();
      },
    },
    gatewayThread,
  );

  const drivers = new Map<string, Driver>();
  for (const [name, board] of Object.entries(prop.boards))
    drivers.set(name, await createDriver(board));
  const core = new Core({
    prop,
    drivers,
    clock: systemClock,
    telemetry,
    store,
    journal,
    onLost(session) {
      commands.forget(session);
      gateway.post({ t: 'lost', session });
    },
    onHolder: (holder) => gateway.post({ t: 'holder', holder }),
  });
  const commands = new Commands(core, propFile);
  const turns = new Turns();
  const keep = (text: string): void => {
    lastKnown.keep(text).catch((error) => {
      log.error({ err: error }, 'no copy of the prop file could be kept');
    });
  };
  propFile.onWritten = keep;

  function handle(message: Exclude<ToCore, { t: 'listening' | 'cannot-listen' }>): void {
    switch (message.t) {
      case 'open': {
        const { session: id, slot, client } = message;
        commands.open({ id, slot, client });
        break;
      }
      case 'gone':
        commands.gone(message.session);
        break;
      case 'osc':
        core.triggers.osc(message.address);
        break;
      case 'call':
        // A stop waits for nothing.
        if (message.method === 'stop') call(message);
        else turns.add(message.session, () => call(message));
    }
  }

  function call({ id, session, method, params }: Extract<ToCore, { t: 'call' }>): void {
    void answer(id, commands.answer(session, method, params as never));
  }

  async function answer(id: number, text: Promise<string>): Promise<void> {
    try {
      gateway.post({ t: 'done', id, text: await text });
    } catch (error) {
      if (!(error instanceof Refusal)) log.error({ err: error }, 'a command failed');
      const refusal =
        error instanceof Refusal
          ? error
          : new Refusal('internal', `this is a fault in Sinew: ${(error as Error).message}`);
      gateway.post({ t: 'fail', id, error: refusal.toObject() });
    }
  }

  // Listening comes first: a second daemon for the same prop ends here and never touches a pin.
  const at = await gateway.open();
  try {
    // Before a pin is claimed: from then on this process may die at any moment.
    const plan = safePlan(prop, core.body.boards, process.pid);
    writePlan(plan, process.env.RUNTIME_DIRECTORY || folder);
    await core.open();
  } catch (error) {
    await gateway.close();
    throw error;
  }
  const loop = new Loop(systemClock, core.tickMs, (nowMs, elapsed, lateMs) => {
    telemetry.countLateness(lateMs);
    core.tick(nowMs, elapsed);
  });
  loop.start(fitTimersMs(systemClock.nowMs() + core.tickMs));
  keep(loaded.text);
  core.triggers.begin();

  /** Returns how to end the signs of life, which the ticks would do by ending. */
  function beWatched(tell: Notify): () => void {
    tell('READY=1');
    const periodMs = watchdogMs(process.env, process.pid);
    if (periodMs === undefined) return () => {};
    const { link, park } = prop!;
    const parkedMs = link.timeoutMs + 1000 * ((link.holdS ?? 0) + park.deadlineS);
    const vitals = new Vitals(telemetry, systemClock, parkedMs + GATEWAY_SPARE_MS);
    return feedWatchdog(tell, vitals, systemClock, periodMs);
  }

  async function end(code: number): Promise<never> {
    loop.stop();
    await core.close();
    // The outputs are safe; what is left may take longer than a tick may.
    starve();
    notify?.(`WATCHDOG_USEC=${1000 * LEAVE_MS}`);
    await gateway.close();
    await store.flush();
    process.exit(code);
  }

  let leaving = false;
  const leave = (signal: string): void => {
    if (leaving) {
      core.stop(0, 'prop', `${signal} again`);
      void end(EXIT.done);
      return;
    }
    leaving = true;
    notify?.('STOPPING=1');
    journal.add('prop', 'leaving', `${signal}: the prop parks, then the daemon ends`);
    // A prop that is parked, stopped or faulted stays as it is: nobody asked for motion.
    if (core.condition === 'live' || core.condition === 'waking') core.park('prop');
    void core.waits
      .until(() => (core.condition === 'parking' ? undefined : true))
      .then(() => end(EXIT.done));
  };
  for (const signal of ['SIGTERM', 'SIGINT', 'SIGHUP'] as const)
    process.on(signal, () => leave(signal));
  const dropAll = (error: Error): void => {
    core.fail(error);
    void end(EXIT.refused);
  };
  process.on('uncaughtException', dropAll);
  process.on('unhandledRejection', dropAll);

  // Told last: whoever reads it may send a signal at once.
  const starve = notify ? beWatched(notify) : () => {};
  const host = at.host.includes(':') ? `[${at.host}]` : at.host;
  process.stdout.write(`${prop.name}: http://${host}:${at.port}/\n`);
}

/**
 * The whole daemon, by the command line: returns when it runs, or has said what was asked for.
 * @param gatewayThread from `loadGateway`
 */
export async function sinewd(gatewayThread: Worker): Promise<void> {
  try {
    await run(gatewayThread);
  } catch (error) {
    const known = error instanceof Usage || error instanceof Refusal;
    process.stderr.write(`sinewd: ${error instanceof Error ? error.message : error}\n`);
    if (error instanceof Usage) process.stderr.write(`\n${USAGE}`);
    if (!known && process.env.SINEW_DEBUG) console.error(error);
    process.exit(error instanceof Usage ? EXIT.usage : EXIT.refused);
  }
}
