import { createInterface } from 'node:readline/promises';
import { RpcError } from '../api/client.ts';
import type { Method, Params, Result } from '../api/methods.ts';
import type { ChannelState, ConditionResult, JournalEntry } from '../api/types.ts';
import type { Condition } from '../shared/condition.ts';
import { conditionText } from '../shared/condition-text.ts';
import { CODES, Refusal } from '../shared/errors.ts';
import type { Writing } from '../shared/write-outcome.ts';
import { type ChangeParams, Client, LinkLost, type Opened, type StateParams } from './client.ts';
import { changeLine } from './file-text.ts';
import type { Inputs, Io, Operator, OperatorOptions, Outcome, Verb } from './verb.ts';
import { findWriteOutcome } from './write-outcome.ts';

/** How often `state` is followed while a verb waits for something (Hz). */
const FOLLOW_HZ = 10;
const FRAME_MS = 1000 / FOLLOW_HZ;
/** A frame this close behind an answer may still show the state before it (ms). */
const STALE_MS = 50;
/** How long a connection may take that only finds out what became of a change (ms). */
const FATE_CONNECT_MS = 1000;
const BUSY_FLAGS = ['moving', 'delayed', 'flashHeld'];

/**
 * One user: the connection (made when first needed), the lease, and what is known of the
 * prop. A single command hands the lease over when it ends; a session keeps it.
 */
export class LinkedOperator implements Operator {
  readonly io: Io;
  readonly options: OperatorOptions;
  inSession = false;
  onNotice: (text: string) => void = () => {};
  ask: (question: string, signal: AbortSignal) => Promise<string> = (question, signal) =>
    askOnTerminal(this.io, question, signal);
  #asking = new AbortController();
  #client: Client | undefined;
  #leased = false;
  #following = false;
  #condition: Condition | undefined;
  /** At rest, but not parked: why. */
  #notParked: string | undefined;
  #conditionAtMs = Number.NEGATIVE_INFINITY;
  #changesCondition = false;
  #changesFile = false;
  /** What is being written to the prop file, in words, and the version before it. */
  #writing: Writing | undefined;
  #fate: string | undefined;
  readonly #channels = new Map<string, ChannelState>();
  #settle: ((outcome: Promise<never>) => void) | undefined;
  #cancelSleep = () => {};
  #forgetInterrupt = () => {};

  constructor(io: Io, options: OperatorOptions) {
    this.io = io;
    this.options = options;
  }

  get condition(): Condition | undefined {
    return this.#condition;
  }

  get conditionText(): string {
    return conditionText({ condition: this.#condition ?? '', notParked: this.#notParked });
  }

  get conditionWord(): string {
    return this.#notParked === undefined ? (this.#condition ?? '') : 'not parked';
  }

  /** Whether the lease was taken and not handed over. */
  get leased(): boolean {
    return this.#leased;
  }

  get busy(): boolean {
    return this.#settle !== undefined;
  }

  get lost(): LinkLost | undefined {
    return this.#client?.lost;
  }

  /** What became of the change of the prop file that was under way when the link went, in words. */
  get writeOutcome(): string | undefined {
    return this.#fate;
  }

  async connect(): Promise<Opened> {
    return (await this.client()).opened;
  }

  async client(): Promise<Client> {
    if (this.#client) return this.#client;
    const client = await this.#link();
    this.#client = client;
    this.#take(client.opened);
    client.on('close', () => this.#settle?.(Promise.reject(client.lost)));
    client.on('event', (entry) => this.#hear(entry));
    client.on('change', (change) => this.#hearChange(change));
    client.on('state', ({ condition, notParked, channels }) => {
      for (const [name, state] of Object.entries(channels)) this.#channels.set(name, state);
      this.#watchCondition({ condition, notParked });
    });
    return client;
  }

  #link(timeoutMs?: number): Promise<Client> {
    const { address, token, name } = this.options;
    return Client.connect({
      url: `ws://${address.host}:${address.port}/api`,
      token,
      clientName: name,
      clock: this.io.clock,
      ...(timeoutMs !== undefined && { timeoutMs }),
    });
  }

  async write<M extends Method>(what: string, method: M, params: Params<M>): Promise<Result<M>> {
    const { version } = await this.connect();
    this.#writing = { what, version };
    try {
      return await this.call(method, params);
    } finally {
      // A link that is lost leaves it open.
      if (!this.lost) this.#writing = undefined;
    }
  }

  async call<M extends Method>(method: M, params: Params<M>): Promise<Result<M>> {
    const result = await (await this.client()).call(method, params);
    const state = result as Partial<ConditionResult>;
    if (state.condition) {
      this.#take(state as ConditionResult);
      this.#conditionAtMs = this.io.clock.nowMs();
    }
    return result;
  }

  async lease(): Promise<void> {
    if (this.#leased) return;
    await this.call('lease.take', {});
    this.#leased = true;
    if (this.inSession) return;
    this.#forgetInterrupt = this.io.onInterrupt(() => {
      this.interrupt().catch(() => {
        // The link is lost, which is reported where the command waits.
      });
    });
  }

  async live(): Promise<void> {
    if (this.inSession) return;
    const { condition } = await this.connect();
    if ((condition === 'parked' || condition === 'parking') && !this.options.wake) {
      throw new Refusal('wake.not-asked', `the prop is ${condition}; add --wake`, { condition });
    }
    await this.lease();
    if (condition === 'live') return;
    if (this.options.wake || condition === 'waking') await this.wake();
  }

  async wake(confirmed = this.options.confirmUnknown): Promise<void> {
    if (this.#condition === 'parking') await this.call('park', { wait: true });
    try {
      await this.call('wake', { wait: true });
    } catch (error) {
      if (!(error instanceof RpcError) || error.data?.code !== 'wake.unknown-servos') throw error;
      // A daemon of an earlier version has the reason alone.
      const { words, reason } = error.data;
      const what = words === undefined ? String(reason) : `${words}. Keep hands clear`;
      if (!confirmed)
        await this.confirm(`${what}. Wake?`, error, `${what}, then add --confirm-unknown`);
      await this.call('wake', { wait: true, confirm: 'unknown' });
    }
  }

  async reset(confirm: string | undefined): Promise<Result<'reset'>> {
    try {
      return await this.call('reset', confirm === undefined ? {} : { confirm });
    } catch (error) {
      if (!(error instanceof RpcError) || error.data?.code !== 'reset.confirm') throw error;
      const who = String(error.data.stoppedBy);
      const what = `${who} stopped the prop; see that it is safe`;
      await this.confirm(
        `${what}. Reset?`,
        error,
        `${what}, then reset --confirm ${/^[\w@.-]+$/.test(who) ? who : `'${who}'`}`,
      );
      return this.call('reset', { confirm: who });
    }
  }

  /**
   * Goes on only if a person on the terminal says yes.
   * @param otherwise what a script gets instead, as the reason of `refused`
   * @throws RpcError, Refusal
   */
  async confirm(question: string, refused: RpcError, otherwise: string): Promise<void> {
    if (this.io.stdin.isTTY !== true)
      throw new RpcError(refused.code, refused.title, { ...refused.data!, reason: otherwise });
    const answer = await this.ask(`${question} [y/N] `, this.#asking.signal).catch(() => '');
    if (!/^y(es)?$/i.test(answer.trim()))
      throw new Refusal('command.not-confirmed', 'not confirmed; nothing was done');
  }

  async handOver(graceS: number): Promise<string | undefined> {
    if (!this.#leased || this.lost) return undefined;
    try {
      await this.call('lease.release', { graceS });
    } catch (error) {
      if (error instanceof RpcError && error.code === CODES.notHolder) return undefined;
      throw error;
    }
    this.#leased = false;
    const up = this.#condition === 'live' || this.#condition === 'waking';
    if (!up) return `lease released; the prop is ${this.conditionText}`;
    if (graceS === 0) return 'lease released; the prop parks';
    return `lease handed over; the prop parks in ${graceS} s unless someone takes it`;
  }

  async close(): Promise<void> {
    this.#forgetInterrupt();
    this.#settle = undefined;
    await this.#client?.close();
  }

  async run(verb: Verb, inputs: Inputs): Promise<Outcome> {
    this.#changesCondition = verb.changesCondition === true;
    this.#changesFile = verb.changesFile === true;
    try {
      return await new Promise<Outcome>((resolve, reject) => {
        this.#settle = resolve as (outcome: Promise<never>) => void;
        verb.run(inputs, this).then(resolve, reject);
      });
    } catch (error) {
      const writing = this.#writing;
      if (error instanceof LinkLost && writing) {
        this.#writing = undefined;
        this.#fate = await findWriteOutcome(writing, this.options.name, this.io.clock, () =>
          this.#link(FATE_CONNECT_MS),
        );
      }
      throw error;
    } finally {
      this.#settle = undefined;
      this.#changesCondition = false;
      this.#changesFile = false;
      this.#cancelSleep();
      // A question that is still open would take the next line for its answer.
      this.#asking.abort();
      this.#asking = new AbortController();
    }
  }

  async interrupt(): Promise<string> {
    const stop = this.call('stop', { category: 2 });
    const text = 'motion stopped (stop category 2): the prop holds; reset before it moves again';
    this.#settle?.(
      stop.then(() => {
        throw new Refusal('command.interrupted', `interrupted: ${text}`);
      }),
    );
    await stop;
    return text;
  }

  async follow(): Promise<void> {
    if (this.#following) return;
    this.#following = true;
    const journal = this.inSession ? { journal: true } : {};
    await this.call('state.follow', { hz: FOLLOW_HZ, ...journal });
  }

  async state(): Promise<StateParams> {
    const client = await this.client();
    const next = new Promise<StateParams>((resolve) => client.once('state', resolve));
    await this.follow();
    return next;
  }

  sleep(ms: number): Promise<void> {
    return new Promise((resolve) => {
      this.#cancelSleep = this.io.clock.after(ms, resolve);
    });
  }

  async rest(channels: readonly string[]): Promise<void> {
    await this.until(
      () =>
        !channels.some((name) =>
          this.#channels.get(name)?.flags.some((flag) => BUSY_FLAGS.includes(flag)),
        ),
    );
  }

  async until(done: (channels: ReadonlyMap<string, ChannelState>) => boolean): Promise<void> {
    await this.sleep(2 * FRAME_MS);
    for (;;) {
      if (this.#condition !== 'live') {
        const values = { condition: this.#condition };
        throw new Refusal('condition.changed', `the prop is now ${this.#condition}`, values);
      }
      if (done(this.#channels)) return;
      await this.sleep(FRAME_MS);
    }
  }

  #take({ condition, notParked }: { condition: Condition; notParked?: string | undefined }): void {
    this.#condition = condition;
    this.#notParked = notParked;
  }

  #watchCondition(state: { condition: Condition; notParked: string | undefined }): void {
    const { condition, notParked } = state;
    if (condition === this.#condition && notParked === this.#notParked) return;
    if (this.io.clock.nowMs() - this.#conditionAtMs < STALE_MS) return;
    this.#take(state);
    if (!this.#changesCondition) this.onNotice(`the prop is now ${this.conditionText}`);
  }

  #hear(entry: JournalEntry): void {
    if (entry.who === this.options.name || entry.what === 'condition') return;
    this.onNotice(`${entry.who}: ${entry.text}`);
  }

  #hearChange(change: ChangeParams): void {
    const trouble = change.pending === true || change.problem !== undefined;
    if (!this.#changesFile || trouble) this.onNotice(changeLine(change));
  }
}

/** An answer of nothing where the terminal is closed. */
async function askOnTerminal(io: Io, question: string, signal: AbortSignal): Promise<string> {
  // The terminal keeps its own editing, and Ctrl-C goes on to stop the prop.
  const lines = createInterface({ input: io.stdin, output: io.stderr, terminal: false });
  try {
    const closed = new Promise<string>((resolve) => lines.once('close', () => resolve('')));
    return await Promise.race([lines.question(question, { signal }), closed]);
  } finally {
    lines.close();
  }
}
