import type { MessagePort } from 'node:worker_threads';
import {
  ANSWER_WITHIN_MS,
  ASKED_LIMIT,
  LINES_BURST,
  LINES_KEPT,
  LINES_PER_S,
  SESSION_ASKED_LIMIT,
} from '../api/limits.ts';
import type { WeakWires } from '../prop/drop-ways.ts';
import type {
  AnswerToGateway,
  AskedMethod,
  FromGateway,
  LogLevel,
  RecentEntries,
  ServedPicture,
  ToGatewayFromService,
} from '../service/protocol.ts';
import { Bucket } from '../shared/bucket.ts';
import type { Clock } from '../shared/clock.ts';
import { Refusal } from '../shared/errors.ts';
import type { Outcome } from './jsonrpc.ts';

type LogLine = Extract<FromGateway, { t: 'log' }>;

interface Waiting {
  session: string;
  settle: (outcome: Outcome) => void;
}

const DEAD =
  'the prop-file service has died; the prop itself goes on. It is started again: ask again in a few seconds';

/**
 * The line to the prop-file service: questions with their answers, and lines for the log. The service
 * may be slow, as its disk is, and it may die and be started again; neither holds anything up here.
 */
export class ServiceLink {
  readonly #clock: Clock;
  #port: MessagePort | undefined;
  readonly #waiting = new Map<number, Waiting>();
  #lastId = 0;
  readonly #bucket: Bucket;
  /** Lines that nobody takes at the moment. */
  #kept: LogLine[] = [];
  #dropped = 0;

  readonly #hand: (message: ServedPicture | RecentEntries) => void;

  /**
   * @param hand takes what nobody has asked for: a picture to be served, before anybody is told its
   * address, and entries of the journal from before the daemon started
   */
  constructor(
    port: MessagePort,
    clock: Clock,
    hand: (message: ServedPicture | RecentEntries) => void = () => {},
  ) {
    this.#clock = clock;
    this.#hand = hand;
    this.#bucket = new Bucket(LINES_PER_S, LINES_BURST, clock.nowMs());
    this.use(port);
  }

  /** Continues with another line: the service was started again. */
  use(port: MessagePort): void {
    const before = this.#port;
    this.#port = port;
    if (before) {
      before.close();
      this.#lose();
    }
    port.on('message', (message: ToGatewayFromService) => {
      if (port !== this.#port) return;
      if ('t' in message) this.#hand(message);
      else this.#settle(message);
    });
    port.on('close', () => {
      if (port !== this.#port) return;
      this.#port = undefined;
      this.#lose();
    });
    for (const line of this.#kept.splice(0)) port.postMessage(line);
  }

  /** Asks the service. The outcome is a refusal where it does not answer. */
  ask(
    session: string,
    method: AskedMethod,
    params: object,
    weak: readonly WeakWires[] = [],
  ): Promise<Outcome> {
    const port = this.#port;
    if (!port) return Promise.resolve(refuse(new Refusal('service.dead', DEAD)));
    const own = [...this.#waiting.values()].filter((one) => one.session === session).length;
    if (own >= SESSION_ASKED_LIMIT || this.#waiting.size >= ASKED_LIMIT) {
      const whose = own >= SESSION_ASKED_LIMIT ? `${own} questions of this session` : 'too many';
      const reason = `${whose} wait for the prop-file service; ask again when they are answered`;
      return Promise.resolve(refuse(new Refusal('service.busy', reason, { waiting: own })));
    }
    const id = ++this.#lastId;
    return new Promise((resolve) => {
      const cancel = this.#clock.after(ANSWER_WITHIN_MS, () => {
        const seconds = ANSWER_WITHIN_MS / 1000;
        const reason = `the prop-file service lives but has not answered within ${seconds} s: its disk hangs, or it has much to work out; ask again later`;
        this.#waiting.get(id)?.settle(refuse(new Refusal('service.late', reason, { seconds })));
      });
      const settle = (outcome: Outcome) => {
        cancel();
        this.#waiting.delete(id);
        resolve(outcome);
      };
      this.#waiting.set(id, { session, settle });
      this.#post(port, {
        ...{ t: 'ask', id, session, method, params },
        ...(weak.length > 0 && { weak }),
      });
    });
  }

  /** Ends what a session still waits for, and tells the service so. */
  forget(session: string): void {
    let waited = false;
    for (const one of [...this.#waiting.values()]) {
      if (one.session !== session) continue;
      waited = true;
      one.settle(refuse(new Refusal('session.ended', 'the session has ended')));
    }
    if (waited && this.#port) this.#post(this.#port, { t: 'gone', session });
  }

  /** A line for the log. Past a rate, and while nobody takes them, lines are dropped and counted. */
  log(level: LogLevel, values: object, text: string): void {
    const room = this.#port !== undefined || this.#kept.length < LINES_KEPT;
    if (!room || !this.#bucket.take(1, this.#clock.nowMs())) {
      this.#dropped++;
      return;
    }
    const left = this.#dropped > 0 ? { linesDropped: this.#dropped } : {};
    this.#dropped = 0;
    const line: LogLine = {
      t: 'log',
      timeMs: Date.now(),
      level,
      name: 'gateway',
      values: { ...values, ...left },
      text,
    };
    if (this.#port) this.#post(this.#port, line);
    else this.#kept.push(line);
  }

  close(): void {
    const port = this.#port;
    this.#port = undefined;
    this.#lose();
    port?.close();
  }

  #post(port: MessagePort, message: FromGateway): void {
    port.postMessage(message);
  }

  #settle(answer: AnswerToGateway): void {
    this.#waiting
      .get(answer.id)
      ?.settle('text' in answer ? { text: answer.text } : { error: answer.error });
  }

  #lose(): void {
    for (const { settle } of [...this.#waiting.values()])
      settle(refuse(new Refusal('service.dead', DEAD)));
  }
}

function refuse(refusal: Refusal): Outcome {
  return { error: refusal.toObject() };
}
