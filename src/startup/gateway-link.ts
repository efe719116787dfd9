import { setTimeout as sleep } from 'node:timers/promises';
import type { JournalEntry } from '../api/types.ts';
import type { Commands } from '../core/commands.ts';
import type { Core } from '../core/core.ts';
import { RequestQueue } from '../core/request-queue.ts';
import type { ToCore } from '../core/requests.ts';
import type { GatewayHost } from '../gateway/host.ts';
import type { ServiceHost } from '../service/host.ts';
import { asRefusal, Refusal } from '../shared/errors.ts';

/** Entries of the journal that a thread which starts again is given at a time. */
const REPLAYED = 50;

/** The core's side of the line to the gateway: takes requests, answers them, and reports what happens. */
export class GatewayLink {
  readonly #gateway: Pick<GatewayHost, 'post'>;
  readonly #service: Pick<ServiceHost, 'log' | 'gone' | 'entry'>;
  readonly #requestQueue = new RequestQueue();
  /** What the gateway last got about what runs by itself. */
  readonly #published = {
    revision: 0,
    idle: null as string | null,
    armed: false,
    armedForShow: undefined as string | undefined,
  };
  #core!: Core;
  #commands!: Commands;

  /** Entries of the journal are sent from now on: the core makes some while it is put together. */
  constructor(
    gateway: Pick<GatewayHost, 'post'>,
    service: Pick<ServiceHost, 'log' | 'gone' | 'entry'>,
  ) {
    this.#gateway = gateway;
    this.#service = service;
  }

  /** Who answers; before the gateway is opened. */
  serve(core: Core, commands: Commands): void {
    this.#core = core;
    this.#commands = commands;
  }

  /** Sends an entry of the journal to the clients and to the log. */
  sendEntry(entry: JournalEntry, again: boolean): void {
    this.#gateway.post({ t: 'event', entry, ...(again && { again }) });
    this.#service.entry(entry, again);
  }

  /** What runs by itself, where that has changed. Once a tick, and before each answer. */
  publishRunning(): void {
    const { cues, idle, triggers, show } = this.#core;
    const published = this.#published;
    const { revision } = cues;
    const { running } = idle;
    const { armed } = triggers;
    const { armedBy: armedForShow } = show;
    if (
      revision === published.revision &&
      running === published.idle &&
      armed === published.armed &&
      armedForShow === published.armedForShow
    )
      return;
    published.revision = revision;
    published.idle = running;
    published.armed = armed;
    published.armedForShow = armedForShow;
    this.#gateway.post({
      t: 'running',
      cues: cues.runningNames,
      idle: running,
      armed,
      armedForShow,
    });
  }

  /** A gateway that has started again gets the past journal, a little at a time. */
  async replay(): Promise<void> {
    const { holder } = this.#core.lease;
    this.#gateway.post({ t: 'holder', holder: holder?.client ?? null });
    this.#gateway.post({ t: 'safety', safety: this.#core.safety });
    this.#published.revision = -1;
    this.publishRunning();
    const entries = this.#core.journal.read(0, Number.POSITIVE_INFINITY);
    for (let i = 0; i < entries.length; i += REPLAYED) {
      this.#gateway.post({ t: 'entries', entries: entries.slice(i, i + REPLAYED) });
      await sleep(1);
    }
  }

  /** A service that has started again gets what its disk lacks, a little at a time. */
  async replayToService(seq: number): Promise<void> {
    const entries = this.#core.journal.read(seq, Number.POSITIVE_INFINITY);
    for (let i = 0; i < entries.length; i += REPLAYED) {
      for (const entry of entries.slice(i, i + REPLAYED)) this.#service.entry(entry, true);
      await sleep(1);
    }
  }

  /** What a session asks for, in its turn. */
  receive(message: Exclude<ToCore, { t: 'listening' | 'cannot-listen' }>): void {
    switch (message.t) {
      case 'open': {
        const { session: id, slot, client } = message;
        this.#commands.open({ id, slot, client });
        break;
      }
      case 'gone':
        this.#service.gone(message.session);
        this.#commands.gone(message.session);
        break;
      case 'osc':
        this.#core.triggers.osc(message.address);
        break;
      case 'osc-perform':
        this.#core.osc.hear(message.values);
        break;
      case 'e131':
        this.#core.desk.hear(message.levels, message.sources);
        break;
      case 'fence':
        this.#requestQueue.add(message.session, () => {
          this.publishRunning();
          this.#gateway.post({ t: 'done', id: message.id, text: 'null' });
        });
        break;
      case 'call':
        // A stop waits for nothing.
        if (message.method === 'stop') this.#call(message);
        else this.#requestQueue.add(message.session, () => this.#call(message));
    }
  }

  #call({ id, session, method, params }: Extract<ToCore, { t: 'call' }>): void {
    void this.#answer(id, this.#commands.answer(session, method, params as never));
  }

  async #answer(id: number, answer: Promise<string>): Promise<void> {
    try {
      const text = await answer;
      this.publishRunning();
      this.#gateway.post({ t: 'done', id, text });
    } catch (error) {
      // To ask a refusal for its stack takes longer than a tick of a slow board, the first time.
      if (!(error instanceof Refusal)) {
        const { message, stack } = error as Error;
        this.#service.log('error', 'sinewd', { stack }, `a command failed: ${message}`);
      }
      this.#gateway.post({ t: 'fail', id, error: asRefusal(error).toObject() });
    }
  }
}
