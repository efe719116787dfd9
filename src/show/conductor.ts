import { createHash, randomBytes } from 'node:crypto';
import type { Clock } from '../shared/clock.ts';
import {
  type Answer,
  answerAsk,
  type Command,
  LONGEST_VALID_MS,
  read,
  type Status,
  topics,
  write,
} from './wire.ts';

/** How often a conductor says that it is there (ms). */
const HERE_EVERY_MS = 10_000;
/** A command without an answer is sent again after this time (ms); a prop heeds its id once. */
const AGAIN_MS = 700;
/** Ids that are remembered with their answers. */
const REMEMBERED = 4096;
/** What the broker keeps of the props is here within this time of the connection (ms). */
const KEPT_MS = 3000;
/** Props that are heeded: each status may be long. */
const MOST_PROPS = 2000;
/** A prop knows the conductor's clock well after so many answers to its questions. */
const ENOUGH_ASKS = 4;

/** A prop that says how it is. */
export type Present = Extract<Status, { gone: false }>;

/** What became of a command at one prop; `silent`: it did not answer in time; `barred`: the broker forbids it. */
export interface Reply {
  prop: string;
  outcome: Answer['outcome'] | 'silent' | 'unsent' | 'barred';
  code?: string | undefined;
  reason?: string | undefined;
  startedMs?: number | undefined;
}

/** What a command asks for, without what every command has. */
export type Wish =
  | { act: 'go'; cue: string; atMs: number }
  | { act: 'end'; cue?: string }
  | { act: 'park' }
  | { act: 'stop'; category: 0 | 1 | 2 }
  | { act: 'lockout'; reason?: string };

interface ConductorOptions {
  /** Name of the show. */
  show: string;
  /** Who commands, for the journals of the props. */
  from: string;
  /** `nowMs` of the conductor's own clock. */
  clock: Pick<Clock, 'nowMs' | 'after'>;
  /** Sends a message, never retained, and as `Connection.send`. */
  send(topic: string, payload: string, taken?: (allowed: boolean) => void): boolean;
  /** Whether `offerTime` holds at first; default: yes. */
  offersTime?: boolean;
}

/**
 * The conductor of a show: gives the props its time, sends them commands and hears what became of these. It
 * knows no MQTT, and decides nothing about safety: each prop does that for itself.
 */
export class Conductor {
  /** Name of this conductor's clock: no other's, and not that of the one before it. */
  readonly clockId = `c${randomBytes(9).toString('hex')}`;
  readonly show: string;
  readonly #from: string;
  readonly #clock: ConductorOptions['clock'];
  readonly #send: ConductorOptions['send'];
  readonly #statuses = new Map<string, Status>();
  readonly #asked = new Map<string, number>();
  /** By id, then by prop. */
  readonly #answers = new Map<string, Map<string, Answer>>();
  readonly #heard = new Set<() => void>();
  readonly #barred = new Set<string>();
  #offersTime: boolean;
  #connectedMs = Number.POSITIVE_INFINITY;
  #cancelHere = () => {};

  constructor({ show, from, clock, send, offersTime = true }: ConductorOptions) {
    this.show = show;
    this.#from = from.slice(0, 64) || 'conductor';
    this.#clock = clock;
    this.#send = send;
    this.#offersTime = offersTime;
  }

  /** Time on its clock (ms). */
  get nowMs(): number {
    return this.#clock.nowMs();
  }

  /** What it must hear. */
  get subscriptions(): string[] {
    return [topics.everyStatus(this.show), topics.everyAnswer(this.show), topics.ask(this.show)];
  }

  /** The last status of each prop that has said one, those that are gone included. */
  get statuses(): ReadonlyMap<string, Status> {
    return this.#statuses;
  }

  /** A prop that is there; undefined where it is not. */
  present(prop: string): Present | undefined {
    const status = this.#statuses.get(prop);
    return status && !status.gone ? status : undefined;
  }

  /** Calls back whenever something was heard. Returns how to end that. */
  onHeard(heard: () => void): () => void {
    this.#heard.add(heard);
    return () => this.#heard.delete(heard);
  }

  /** Topics that the broker has not let it write to. */
  get barred(): ReadonlySet<string> {
    return this.#barred;
  }

  /** What the broker has retained comes from now on; what it no longer has is gone. */
  connecting(): void {
    this.#statuses.clear();
    this.#barred.clear();
  }

  /** The broker passes everything on from now on. */
  connected(): void {
    this.#connectedMs = this.nowMs;
    this.#tellTime();
  }

  /** It should have heard of a prop by now. */
  get hearsNothing(): boolean {
    return this.#statuses.size === 0 && this.nowMs - this.#connectedMs > KEPT_MS;
  }

  #tellTime(): void {
    this.#cancelHere();
    if (this.#offersTime) this.#here();
  }

  /**
   * Whether props are to measure its clock, which a go needs. A prop keeps few clocks: a conductor that starts
   * no cues leaves them to others.
   */
  offerTime(offers: boolean): void {
    if (offers === this.#offersTime) return;
    this.#offersTime = offers;
    this.#tellTime();
  }

  /** Finds out whether it may command; `barred` has the answer soon. */
  tryRights(): void {
    this.#publish(topics.trial(this.show), '');
  }

  #publish(topic: string, payload: string): boolean {
    return this.#send(topic, payload, (allowed) => {
      if (allowed) this.#barred.delete(topic);
      else this.#barred.add(topic);
      this.#tellHeard();
    });
  }

  #here(): void {
    this.#publish(topics.here(this.show), write({ v: 1, clock: this.clockId, from: this.#from }));
    this.#cancelHere = this.#clock.after(HERE_EVERY_MS, () => this.#here());
  }

  close(): void {
    this.#cancelHere();
    this.#heard.clear();
  }

  /** A message from the broker. What does not fit is dropped. */
  receive(topic: string, payload: Uint8Array): void {
    const atMs = this.nowMs;
    if (topic === topics.ask(this.show)) {
      const heard = read('ask', payload);
      if ('wrong' in heard || !this.#offersTime) return;
      const { message } = heard;
      const time = answerAsk(message, this.clockId, atMs, this.nowMs);
      this.#send(topics.time(this.show, message.prop), write(time));
      const asked = this.#asked.get(message.prop) ?? 0;
      if (asked > 0 || this.#asked.size < MOST_PROPS) this.#asked.set(message.prop, asked + 1);
    } else if (topic.endsWith('/status')) {
      const heard = read('status', payload);
      // A prop speaks only for itself: the broker lets it write to its own topics alone.
      if ('wrong' in heard || topic !== topics.status(this.show, heard.message.prop)) return;
      const { prop } = heard.message;
      if (!this.#statuses.has(prop) && this.#statuses.size >= MOST_PROPS) return;
      this.#statuses.set(prop, heard.message);
    } else if (topic.endsWith('/answer')) {
      const heard = read('answer', payload);
      if ('wrong' in heard || topic !== topics.answer(this.show, heard.message.prop)) return;
      const { message } = heard;
      this.#answers.get(message.id)?.set(message.prop, message);
    } else return;
    this.#tellHeard();
  }

  #tellHeard(): void {
    for (const heard of [...this.#heard]) heard();
  }

  /** Whether these props have measured this conductor's clock. */
  isKnownTo(props: readonly string[]): boolean {
    return props.every((prop) => (this.#asked.get(prop) ?? 0) >= ENOUGH_ASKS);
  }

  /** Waits until something holds, or for `ms` at most. @returns whether it holds */
  async until(holds: () => boolean, ms: number): Promise<boolean> {
    if (holds()) return true;
    return new Promise((resolve) => {
      const end = (result: boolean) => {
        cancel();
        stop();
        resolve(result);
      };
      const stop = this.onHeard(() => {
        if (holds()) end(true);
      });
      const cancel = this.#clock.after(ms, () => end(holds()));
    });
  }

  /**
   * Sends a command to props, and again to those that do not answer, until each has, or `withinMs` has passed.
   * @param all they are all props of the show: one message reaches them, and any that is not listed
   * @param idOf the id of the command for each; new ones where not given. The same id is heeded once
   */
  async ask(
    wish: Wish,
    props: readonly string[],
    withinMs: number,
    { all = false, idOf }: { all?: boolean; idOf?: (prop: string) => string } = {},
  ): Promise<Reply[]> {
    const common = randomBytes(12).toString('hex');
    const ids = new Map(
      props.map((prop) => [prop, idOf?.(prop) ?? (all ? common : randomBytes(12).toString('hex'))]),
    );
    for (const id of new Set([...ids.values(), ...(all ? [common] : [])])) this.#remember(id);
    const answerOf = (prop: string) => this.#answers.get(ids.get(prop)!)?.get(prop);
    const allTopic = topics.allCommand(this.show);
    const isBarred = (prop: string) => this.#barred.has(topics.command(this.show, prop));
    const isOver = (prop: string) => answerOf(prop) !== undefined || isBarred(prop);
    // What the broker has forbidden before, it may allow by now.
    for (const prop of props) this.#barred.delete(topics.command(this.show, prop));
    this.#barred.delete(allTopic);
    const sentMs = this.nowMs;
    const endMs = sentMs + withinMs;
    let sent = false;
    for (let first = true; first || this.nowMs < endMs; first = false) {
      const open = props.filter((prop) => !isOver(prop));
      if (!first && open.length === 0) break;
      if (all && first) sent = this.#command(allTopic, common, wish, sentMs, withinMs) || sent;
      else
        for (const prop of open)
          sent =
            this.#command(
              topics.command(this.show, prop),
              ids.get(prop)!,
              wish,
              sentMs,
              withinMs,
            ) || sent;
      const left = Math.max(1, Math.min(AGAIN_MS, endMs - this.nowMs));
      const isShut = () => first && this.#barred.has(allTopic);
      await this.until(() => isShut() || props.every(isOver), left);
    }
    return props.map((prop) => {
      const { outcome, code, reason, startedMs } = answerOf(prop) ?? {
        outcome: isBarred(prop) ? 'barred' : sent ? 'silent' : 'unsent',
      };
      return { prop, outcome, code, reason, startedMs };
    });
  }

  /** What became of a go after its time: it waits for that. */
  async started(ids: ReadonlyMap<string, string>, untilMs: number): Promise<Reply[]> {
    const isOver = ([prop, id]: [string, string]) =>
      (this.#answers.get(id)?.get(prop)?.outcome ?? 'waits') !== 'waits';
    await this.until(() => [...ids].every(isOver), Math.max(1, untilMs - this.nowMs));
    return [...ids].map(([prop, id]) => {
      const { outcome, code, reason, startedMs } = this.#answers.get(id)?.get(prop) ?? {
        outcome: 'silent' as const,
      };
      return { prop, outcome, code, reason, startedMs };
    });
  }

  #remember(id: string): void {
    if (!this.#answers.has(id)) this.#answers.set(id, new Map());
    if (this.#answers.size > REMEMBERED) this.#answers.delete(this.#answers.keys().next().value!);
  }

  #command(topic: string, id: string, wish: Wish, sentMs: number, withinMs: number): boolean {
    const command: Command = {
      v: 1,
      id,
      from: this.#from,
      clock: this.clockId,
      sentMs,
      voidAfterMs: Math.min(Math.max(withinMs, 1000), LONGEST_VALID_MS),
      ...wish,
    };
    return this.#publish(topic, write(command));
  }
}

/**
 * The id of a command of a show's run: the same for the same run, step and prop, so that a conductor that is
 * started again, or a second one, starts nothing twice.
 */
export function stepId(show: string, run: string, step: number, prop: string): string {
  const text = JSON.stringify([show, run, step, prop]);
  return createHash('sha256').update(text).digest('base64url').slice(0, 32);
}

/** Whatever is not as it should be with a prop, the worst first; empty where all is well. */
export function problemsOf(status: Status | undefined, isInFile: boolean): string[] {
  if (!status || status.gone) return ['it does not answer'];
  const { lockout, condition, cause, armed, battery, wear, problems } = status;
  const why = cause ? `: ${cause.words}` : '';
  // The prop itself says most of it (`startup/show-door.ts`), in more words.
  const said = (word: string) => problems.some((one) => one.startsWith(word));
  const stands = (condition === 'faulted' || condition === 'stopped') && !said(condition);
  return [
    ...(lockout && !said('hands are in the prop') ? ['hands in the prop: it is locked'] : []),
    ...(stands ? [`${condition}${why}`] : []),
    ...(battery?.low && !said(`${battery.sense} is `)
      ? [`battery ${battery.sense} is low: ${battery.volts} V`]
      : []),
    ...problems,
    ...(wear && wear.due > 0 ? [`maintenance is due: ${wear.due} of its channels`] : []),
    ...(armed ? [] : ['not armed']),
    ...(isInFile ? [] : ["it is not in the show's file"]),
  ];
}
