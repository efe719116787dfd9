import { randomBytes } from 'node:crypto';
import { systemClock } from '../shared/clock.ts';
import { Conductor } from './conductor.ts';
import { CONNECT_MS, Connection } from './connection.ts';
import type { ShowFile } from './show-file.ts';
import { topics } from './wire.ts';

/** While so much waits to be written, nothing more is sent (bytes). */
const UNSENT_BYTES = 1024 * 1024;

interface Options {
  show: string;
  broker: NonNullable<ShowFile['broker']>;
  from: string;
  /** As that of a `Conductor`. */
  offersTime?: boolean;
  /** The link is there, or lost, and why. */
  onLink?: (problem: string | undefined) => void;
}

/**
 * A conductor with its connection to the broker. What it was to send while that is away is not sent later: an
 * old command must move nothing.
 */
export class LinkedConductor {
  readonly conductor: Conductor;
  readonly #connection: Connection;
  #problem: string | undefined;
  #opened = () => {};

  constructor({ show, broker, from, offersTime = true, onLink = () => {} }: Options) {
    // Like the wall clock at the start, and steady from then on, whoever sets that.
    const origin = performance.timeOrigin;
    const clock = {
      nowMs: () => origin + performance.now(),
      after: systemClock.after.bind(systemClock),
    };
    const send = (topic: string, payload: string, taken?: (allowed: boolean) => void) => {
      // The time is old when it comes late.
      const qos = topic.startsWith(topics.time(show, '')) ? 0 : 1;
      return this.#connection.send(topic, payload, { qos, retain: false }, taken);
    };
    const conductor = new Conductor({ show, from, clock, send, offersTime });
    this.conductor = conductor;
    this.#connection = new Connection(
      {
        broker,
        clientId: `sinew-conductor-${randomBytes(6).toString('hex')}`,
        subscriptions: [{ topics: conductor.subscriptions, how: { qos: 1 } }],
        unsentBytes: UNSENT_BYTES,
        words: { who: 'this conductor', hears: 'the show' },
      },
      {
        letIn: () => conductor.connecting(),
        connected: () => {
          conductor.connected();
          onLink(undefined);
          this.#opened();
        },
        lost: (problem) => {
          this.#problem = problem;
          onLink(problem);
        },
        message: (topic, payload) => conductor.receive(topic, payload),
      },
    );
  }

  /** Connects. @throws Error where the broker cannot be had within 5 s, with why */
  async open(): Promise<void> {
    const opened = new Promise<boolean>((resolve) => {
      const timer = setTimeout(() => resolve(false), CONNECT_MS);
      this.#opened = () => {
        clearTimeout(timer);
        resolve(true);
      };
    });
    this.start();
    if (await opened) return;
    await this.close();
    throw new Error(this.#problem ?? 'the broker does not answer');
  }

  /** Connects, and keeps trying where the broker cannot be had. */
  start(): void {
    this.#connection.open();
  }

  close(): Promise<void> {
    this.conductor.close();
    return this.#connection.close();
  }
}
