import { setTimeout as sleep } from 'node:timers/promises';
import { MessageChannel, type MessagePort, type Worker } from 'node:worker_threads';
import type { Driver } from '../boards/board.ts';
import { loadEndNow } from '../boards/end-now.ts';
import { createDriver } from '../boards/registry.ts';
import type { Board } from '../core/boards.ts';
import { Commands } from '../core/commands.ts';
import { Core } from '../core/core.ts';
import type { CoreProp } from '../core/core-prop.ts';
import { Journal } from '../core/journal.ts';
import { Loop } from '../core/loop.ts';
import type { GatewayStart } from '../core/requests.ts';
import { GatewayHost } from '../gateway/host.ts';
import { hashToken, readTokenFile } from '../gateway/token.ts';
import type { FileStatus } from '../prop/file/status.ts';
import { CannotOpen, type ServiceEvents, type ServiceHost } from '../service/host.ts';
import type { Opened } from '../service/protocol.ts';
import { safePlan } from '../service/safe-plan.ts';
import { ServiceStore } from '../service/store.ts';
import { systemClock } from '../shared/clock.ts';
import { Refusal } from '../shared/errors.ts';
import { fitTimersMs } from '../shared/fit-timers.ts';
import { isLoopback } from '../shared/loopback.ts';
import { NEW_PROP_FRAGMENT, pageAddress } from '../shared/page-address.ts';
import { Telemetry } from '../shared/telemetry.ts';
import { ShowHost } from '../show/host.ts';
import { type Notify, openNotify } from '../systemd/notify.ts';
import { feedWatchdog, Vitals, watchdogMs } from '../systemd/watchdog.ts';
import { GatewayLink } from './gateway-link.ts';
import { type Options, USAGE, Usage } from './options.ts';
import { preferShortPauses } from './short-pauses.ts';
import { ShowDoor } from './show-door.ts';

/** A gateway that stands still gets this much longer than the prop needs to park by itself (ms). */
const GATEWAY_SPARE_MS = 1000;
/** After its outputs are safe the daemon must end within this (ms). */
const LEAVE_MS = 5000;
/** A disk or a terminal that hangs does not keep the daemon from ending (ms). */
const FLUSH_MS = 2000;

const EXIT = { done: 0, refused: 1, usage: 2 } as const;

/** The threads beside the core, loading since the program began. */
export interface Threads {
  service: ServiceHost;
  /** What the service's thread answers to its start. */
  opened: Promise<Opened>;
  gateway: Worker;
  /** What is told of the service's thread from now on. */
  listen(events: ServiceEvents): void;
}

/** The daemon: the core's thread, and what joins it to the other two. */
class Daemon {
  readonly #service: ServiceHost;
  readonly #gateway: GatewayHost;
  readonly #journal: Journal;
  readonly #telemetry: Telemetry;
  readonly #core: Core;
  readonly #commands: Commands;
  readonly #loop: Loop;
  readonly #notify: Notify | undefined;
  /** What a gateway is started with. */
  #view: Uint8Array;
  #status: FileStatus;
  readonly #link: GatewayLink;
  readonly #show: ShowDoor;
  readonly #endNow = loadEndNow();
  #shownBody: SharedArrayBuffer | undefined;
  #starve: () => void = () => {};
  #leaving = false;

  private constructor(
    options: Options,
    { service, gateway, listen }: Threads,
    opened: Opened,
    drivers: ReadonlyMap<string, Driver>,
    tokenHash: Uint8Array | null,
    notify: Notify | undefined,
    program: string,
  ) {
    const { prop, view, status } = opened;
    this.#service = service;
    this.#notify = notify;
    this.#view = view;
    this.#status = status;
    this.#telemetry = Telemetry.create(
      Object.keys(prop.channels).length,
      Object.keys(prop.rails).length,
      Object.keys(prop.senses ?? {}).length,
    );
    this.#journal = new Journal(
      systemClock,
      (entry, again) => {
        this.#link.sendEntry(entry, again);
        this.#show?.sendEntry(entry);
      },
      opened.journalSeq,
    );
    const { host, port, logLevel } = options;
    this.#gateway = new GatewayHost(
      (): GatewayStart => ({
        ...{ host, port, tokenHash, logLevel },
        ...{ view: this.#view, status: this.#status, telemetry: this.#telemetry.buffers },
        service: this.#linePort(),
      }),
      {
        message: (message) => this.#link.receive(message),
        died: (why, retryMs) => this.#gatewayDied(why, retryMs),
        started: () => void this.#link.replay(),
        wrote: (line) => service.log('warn', 'gateway', {}, line),
      },
      gateway,
    );
    this.#link = new GatewayLink(this.#gateway, service);
    listen({
      file: (next) => {
        this.#status = next;
        this.#gateway.post({ t: 'file', status: next });
      },
      journal: (who, what, text, values) => this.#journal.add(who, what, text, values),
      kept: (seq) => void this.#link.replayToService(seq),
      died: (why, retryMs) =>
        this.#journal.add(
          'prop',
          'file',
          `the prop-file service died: ${why}; it starts again in ${retryMs} ms`,
        ),
      restarted: () => {
        this.#shownBody = undefined;
        this.#showService();
        const line = this.#linePort();
        this.#gateway.post({ t: 'service', port: line }, [line]);
      },
    });
    this.#core = new Core({
      prop,
      version: opened.version,
      drivers,
      clock: systemClock,
      telemetry: this.#telemetry,
      store: new ServiceStore(service, opened),
      journal: this.#journal,
      warmUp: true,
      changing: {
        receive: () => service.nextChange(),
        createDriver,
        writePlan: (other, boards) => this.#writePlan(other, boards),
        reportOutcome: (id, outcome) => service.change(id, outcome),
        onProp: ({ view: next, changed }, body) => {
          this.#view = next;
          this.#gateway.post({ t: 'prop', view: next, body, changed: [...changed] });
          this.#showService();
          this.#show.follow();
        },
      },
      onLost: (session) => {
        this.#commands.forget(session);
        this.#gateway.post({ t: 'lost', session });
      },
      onHolder: (holder) => this.#gateway.post({ t: 'holder', holder }),
      onSafety: (safety) => {
        this.#gateway.post({ t: 'safety', safety });
        this.#show?.safetyChanged();
      },
    });
    this.#commands = new Commands(this.#core, service, isLoopback(options.host));
    this.#link.serve(this.#core, this.#commands);
    this.#show = new ShowDoor(
      this.#core,
      systemClock,
      (message) =>
        new ShowHost(program, {
          message,
          died: (why, retryMs) => this.#show.died(why, retryMs),
        }),
      () => service.wearSum(),
    );
    this.#loop = new Loop(systemClock, this.#core.tickMs, (nowMs, elapsed, lateMs) => {
      this.#telemetry.countLateness(lateMs);
      this.#core.tick(nowMs, elapsed);
      this.#link.publishRunning();
      // After it, so that what is asked and answered has the time until the next one.
      service.receive();
      this.#gateway.onMessage();
      this.#show.tick();
    });
  }

  static async make(options: Options, threads: Threads, program: string): Promise<Daemon> {
    const opened = await threads.opened;
    const token = options.tokenFile ? await readTokenFile(options.tokenFile) : undefined;
    const tokenHash = token === undefined ? null : hashToken(token);
    const notify = await openNotify(process.env);
    const drivers = new Map<string, Driver>();
    for (const [name, board] of Object.entries(opened.prop.boards))
      drivers.set(name, await createDriver(board));
    return new Daemon(options, threads, opened, drivers, tokenHash, notify, program);
  }

  async run(): Promise<void> {
    const { name } = this.#core.prop;
    // Listening comes first: a second daemon for the same prop ends here and never touches a pin.
    const at = await this.#gateway.open();
    try {
      // Before a pin is claimed: from then on this process may die at any moment.
      await this.#writePlan(this.#core.prop, this.#core.body.boards);
      await this.#core.open();
    } catch (error) {
      await this.#gateway.close();
      throw error;
    }
    const { problem } = this.#status;
    if (problem !== undefined) this.#journal.add('prop', 'file', problem);
    this.#showService();
    this.#loop.start(fitTimersMs(systemClock.nowMs() + this.#core.tickMs));
    this.#core.triggers.begin();
    this.#show.follow();
    for (const signal of ['SIGTERM', 'SIGINT', 'SIGHUP'] as const)
      process.on(signal, () => this.#leave(signal));
    process.on('uncaughtException', (error) => this.#drop(error));
    process.on('unhandledRejection', (error) => this.#drop(error as Error));
    // Node's own warnings, which it would write on a terminal that may be held.
    process.removeAllListeners('warning');
    process.on('warning', ({ message }) => this.#service.log('warn', 'sinewd', {}, message));
    preferShortPauses();
    // Printed last: its reader may send a signal at once.
    if (this.#notify) this.#starve = this.#beWatched(this.#notify);
    const isEmpty = Object.keys(this.#core.prop.channels).length === 0;
    this.#service.print(
      `${name}: ${pageAddress(at.host, at.port)}${isEmpty ? NEW_PROP_FRAGMENT : ''}`,
    );
  }

  // --- between the threads ------------------------------------------------------------------------

  /** One end of a new line between gateway and service; the service has the other. */
  #linePort(): MessagePort {
    const { port1, port2 } = new MessageChannel();
    this.#service.connectGateway(port1);
    return port2;
  }

  /** Shows the service where the core writes, where that is another place than before. */
  #showService(): void {
    const { buffers } = this.#telemetry;
    if (buffers.body === this.#shownBody) return;
    this.#shownBody = buffers.body;
    const channels = this.#core.body.channels.map(({ name, spec }) => {
      const place = JSON.stringify(spec.output ?? null);
      return { name, kind: spec.kind, place };
    });
    this.#service.telemetry(buffers, channels);
  }

  #gatewayDied(why: string, retryMs: number): void {
    const text = `the gateway died: ${why}; it starts again in ${retryMs} ms`;
    this.#journal.add('prop', 'gateway', text);
    this.#commands.allGone();
  }

  #writePlan(prop: CoreProp, boards: readonly Board[]): Promise<void> {
    return this.#service.writePlan(safePlan(prop, boards, process.pid));
  }

  // --- living and leaving -------------------------------------------------------------------------

  /** Returns how to end the signs of life, which the ticks would do by ending. */
  #beWatched(notify: Notify): () => void {
    notify('READY=1');
    const periodMs = watchdogMs(process.env, process.pid);
    if (periodMs === undefined) return () => {};
    const { link, park } = this.#core.prop;
    const parkedMs = link.timeoutMs + 1000 * ((link.holdS ?? 0) + park.deadlineS);
    const vitals = new Vitals(this.#telemetry, systemClock, parkedMs + GATEWAY_SPARE_MS);
    return feedWatchdog(notify, vitals, systemClock, periodMs);
  }

  #leave(signal: string): void {
    const core = this.#core;
    if (this.#leaving) {
      core.stop(0, 'prop', `${signal} again`);
      void this.#end(EXIT.done);
      return;
    }
    this.#leaving = true;
    this.#notify?.('STOPPING=1');
    this.#journal.add('prop', 'leaving', `${signal}: the prop parks, then the daemon ends`);
    // A prop that is parked, stopped or faulted stays as it is: nobody asked for motion. One that holds
    // since its link was lost parks now.
    const { condition } = core;
    if (condition === 'live' || condition === 'waking' || condition === 'parking')
      core.park('prop');
    // What still decelerates after a stop, or parks after a fault, is not cut off in the middle.
    void core.waits
      .until(() => (core.comingToRest ? undefined : true))
      .then(() => this.#end(EXIT.done));
  }

  #drop(error: Error): void {
    this.#core.fail(error);
    void this.#end(EXIT.refused);
  }

  async #end(code: number): Promise<void> {
    this.#loop.stop();
    await this.#core.close();
    // The outputs are safe; what is left may take longer than a tick may.
    this.#starve();
    this.#notify?.(`WATCHDOG_USEC=${1000 * LEAVE_MS}`);
    await Promise.all([this.#gateway.close(), this.#show.close()]);
    await this.#service.flush(FLUSH_MS);
    // Threads that hang on a disk or a bus would keep process.exit waiting.
    this.#endNow(code);
  }
}

/**
 * The whole daemon: returns when it runs, or ends the program.
 * @param program its version
 */
export async function sinewd(options: Options, threads: Threads, program: string): Promise<void> {
  try {
    if (!options.tokenFile && !isLoopback(options.host))
      throw new Usage(
        `--listen ${options.host} can be reached from other machines and needs --token-file; make one with: openssl rand -hex 32 > token; chmod 600 token`,
      );
    const daemon = await Daemon.make(options, threads, program);
    await daemon.run();
  } catch (error) {
    process.stderr.write(wordsOf(error));
    // By itself: Node may abort where `process.exit` ends the thread (endThread).
    await Promise.race([threads.service.close(), sleep(FLUSH_MS)]);
    process.exit(error instanceof Usage ? EXIT.usage : EXIT.refused);
  }
}

/** Why nothing was started, for standard error. */
function wordsOf(error: unknown): string {
  if (error instanceof CannotOpen) return error.lines.map((line) => `${line}\n`).join('');
  const { message, stack } = error as Error;
  if (error instanceof Usage) return `sinewd: ${message}\n\n${USAGE}`;
  const known = error instanceof Refusal || !process.env.SINEW_DEBUG;
  return `sinewd: ${known ? message : stack}\n`;
}
