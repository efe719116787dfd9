import type { Show } from '../prop/schema.ts';
import { Connection } from './connection.ts';

/** While so much waits to be written, nothing more is sent (bytes). */
const UNSENT_BYTES = 64 * 1024;
/** Retained messages are not asked for, and those that come in are seen to be retained. */
const NEW_ONES = { rap: true, rh: 2 } as const;

interface BrokerEvents {
  /** Commands come in from now on. */
  connected(): void;
  /** @param problem why it is lost or cannot be had, without anything secret */
  lost(problem: string): void;
  message(topic: string, payload: Uint8Array, retained: boolean): void;
}

/** What the link asks of the broker: what to hear, and what it says once the link has ended. */
interface Wanted {
  commandTopics: readonly string[];
  clockTopics: readonly string[];
  will: { topic: string; payload: string };
}

/** A prop's connection to the broker of its show. */
export class Broker {
  readonly #connection: Connection;

  constructor(show: Show, wanted: Wanted, events: BrokerEvents) {
    const { name, prop, broker } = show;
    const { commandTopics, clockTopics, will } = wanted;
    this.#connection = new Connection(
      {
        broker,
        // Fixed: of two props of one name the broker keeps one, and says so.
        clientId: `sinew-${name}-${prop}`,
        subscriptions: [
          { topics: commandTopics, how: { qos: 1, ...NEW_ONES } },
          { topics: clockTopics, how: { qos: 0, ...NEW_ONES } },
        ],
        will,
        unsentBytes: UNSENT_BYTES,
        words: {
          who: 'this prop',
          hears: 'its commands',
          takenOver: `another prop is called ${prop} in this show; give each a name of its own`,
        },
      },
      {
        connected: () => events.connected(),
        lost: (problem) => events.lost(problem),
        // Nothing is carried out that could not be answered yet.
        message: (topic, payload, retained) => {
          if (this.#connection.ready) events.message(topic, payload, retained);
        },
      },
    );
  }

  open(): void {
    this.#connection.open();
  }

  /** As `Wire.send`. */
  send(topic: string, payload: string, retain: boolean): boolean {
    return this.#connection.send(topic, payload, { qos: 0, retain });
  }

  /** As `Connection.close`. */
  close(): Promise<void> {
    return this.#connection.close();
  }
}
