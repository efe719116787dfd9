import { readFileSync } from 'node:fs';
import mqtt, { type IClientOptions, type IClientSubscribeOptions, type MqttClient } from 'mqtt';
import type { Show } from '../prop/schema.ts';
import { Backoff } from '../shared/backoff.ts';
import { plain } from '../shared/plain.ts';
import { readPasswordFile, UnusableFile } from './password-file.ts';
import { MESSAGE_LIMIT_BYTES } from './wire.ts';

/** The broker must answer within this time (ms). */
export const CONNECT_MS = 5000;
/** It is asked for a sign of life so often, and counts as lost after this silence (ms). */
const PING_MS = 1000;
const SILENT_MS = 4000;
/** It drops this client itself after one and a half of it (s): MQTT 5, section 3.1.2.10. */
const KEEP_ALIVE_S = 5;
/** The longest packet that the broker may send, and that is taken in (bytes). */
const PACKET_BYTES = MESSAGE_LIMIT_BYTES + 1024;
/** So many messages of QoS 1 may be on their way at once. */
const RECEIVE_MAXIMUM = 32;
/** The broker's rights forbid it: MQTT 5, section 3.4.2.1. */
const NOT_AUTHORIZED = 0x87;

interface ConnectionOptions {
  broker: Show['broker'];
  clientId: string;
  /** What to hear: a packet for each, one after the other. */
  subscriptions: readonly { topics: readonly string[]; how: IClientSubscribeOptions }[];
  /** What the broker says, retained, once the connection has ended. */
  will?: { topic: string; payload: string };
  /** While so much waits to be written, nothing more is sent (bytes). */
  unsentBytes: number;
  /** For the problems: whose connection it is, what it could not hear, and what to do where another has its id. */
  words: { who: string; hears: string; takenOver?: string };
}

interface ConnectionEvents {
  /** The broker has let it in; nothing is subscribed yet. */
  letIn?(): void;
  /** Everything is subscribed. */
  connected(): void;
  /** @param problem why it is lost or cannot be had, without anything secret */
  lost(problem: string): void;
  /** From `letIn` on: what is retained may come before the subscription is known to be good. */
  message(topic: string, payload: Uint8Array, retained: boolean): void;
}

/**
 * A connection to an MQTT 5 broker. It connects again by itself, ever more slowly; nothing that it was asked to
 * send waits for that.
 */
export class Connection {
  readonly #with: ConnectionOptions;
  readonly #events: ConnectionEvents;
  readonly #backoff = new Backoff();
  #client: MqttClient | undefined;
  #ready = false;
  #closing = false;
  #problem = '';
  #retry: NodeJS.Timeout | undefined;
  #watching: NodeJS.Timeout | undefined;

  constructor(options: ConnectionOptions, events: ConnectionEvents) {
    this.#with = options;
    this.#events = events;
  }

  /** Everything is subscribed, and the broker is there. */
  get ready(): boolean {
    return this.#ready;
  }

  open(): void {
    const startedMs = performance.now();
    let client: MqttClient;
    try {
      const options = this.#options();
      this.#problem = 'the broker has closed the connection';
      client = mqtt.connect(this.#with.broker.url, options);
    } catch (error) {
      // A file that cannot be used may be put right meanwhile.
      this.#problem =
        error instanceof UnusableFile ? error.message : this.#problemOf(error as Error);
      this.#over(startedMs);
      return;
    }
    this.#client = client;
    // Looks are counted instead of time: while this thread stood still itself, it looked once.
    let silentMs = 0;
    let unparsed = 0;
    // A broker that does not keep to the limit must not fill the memory of this machine.
    client.stream.on('data', (data: Buffer) => {
      unparsed += data.length;
      if (unparsed > 4 * PACKET_BYTES) this.#drop('the broker sends packets that are too long');
    });
    client.on('packetreceive', () => {
      unparsed = 0;
      silentMs = 0;
    });
    client.on('connect', () => void this.#subscribe(client));
    client.on('message', (topic, payload, { retain }) => {
      if (client === this.#client) this.#events.message(topic, payload, retain);
    });
    client.on('disconnect', ({ reasonCode }) => {
      // MQTT 5, section 3.14.2.1: session taken over.
      if (reasonCode === 0x8e) this.#problem = this.#with.words.takenOver ?? this.#problem;
    });
    client.on('error', (error) => {
      if (client !== this.#client) return;
      this.#problem = this.#problemOf(error);
      client.stream.destroy();
    });
    client.on('close', () => {
      if (client !== this.#client) return;
      this.#client = undefined;
      client.end(true);
      this.#over(startedMs);
    });
    clearInterval(this.#watching);
    this.#watching = setInterval(() => {
      if (!client.connected) return;
      silentMs += PING_MS;
      if (silentMs >= SILENT_MS) this.#drop('the broker is silent');
      else if (client.stream.writableLength < this.#with.unsentBytes) client.sendPing();
    }, PING_MS);
  }

  /** @throws Error where a file cannot be read */
  #options(): IClientOptions {
    const { clientId, broker, will } = this.#with;
    const { username, passwordFile, caFile } = broker;
    return {
      protocolVersion: 5,
      clientId,
      clean: true,
      keepalive: KEEP_ALIVE_S,
      connectTimeout: CONNECT_MS,
      // What is not sent at once is void.
      queueQoSZero: false,
      reconnectPeriod: 0,
      resubscribe: false,
      properties: {
        sessionExpiryInterval: 0,
        receiveMaximum: RECEIVE_MAXIMUM,
        maximumPacketSize: PACKET_BYTES,
      },
      ...(username !== undefined && { username }),
      ...(passwordFile !== undefined && { password: readPasswordFile(passwordFile) }),
      ...(caFile !== undefined && { ca: readCa(caFile) }),
      rejectUnauthorized: true,
      ...(will && {
        will: { topic: will.topic, payload: Buffer.from(will.payload), qos: 1, retain: true },
      }),
    };
  }

  async #subscribe(client: MqttClient): Promise<void> {
    this.#events.letIn?.();
    const { subscriptions, words } = this.#with;
    try {
      for (const { topics, how } of subscriptions) await client.subscribeAsync([...topics], how);
    } catch {
      if (client !== this.#client) return;
      // Whoever does not hear what it must hear must not look as if it did.
      this.#drop(`the broker does not let ${words.who} hear ${words.hears}; look at its ACL`);
      return;
    }
    if (client !== this.#client) return;
    this.#ready = true;
    this.#events.connected();
  }

  /**
   * @param taken called for a message of QoS 1 with whether the broker's rights allow it
   * @returns false where it could not be sent: the broker is away, or takes nothing
   */
  send(
    topic: string,
    payload: string,
    how: { qos: 0 | 1; retain: boolean },
    taken?: (allowed: boolean) => void,
  ): boolean {
    const client = this.#client;
    if (!client || !this.#ready || !client.connected) return false;
    if (client.stream.writableLength > this.#with.unsentBytes) return false;
    client.publish(topic, payload, how, (error) => {
      if (!error) taken?.(true);
      else if ((error as { code?: unknown }).code === NOT_AUTHORIZED) taken?.(false);
    });
    return true;
  }

  /** Leaves the broker, which is told what the will would tell. */
  async close(): Promise<void> {
    this.#closing = true;
    clearTimeout(this.#retry);
    clearInterval(this.#watching);
    const { will } = this.#with;
    if (will) this.send(will.topic, will.payload, { qos: 0, retain: true });
    const client = this.#client;
    this.#client = undefined;
    if (!client) return;
    const over = new Promise<void>((resolve) => client.end(false, {}, () => resolve()));
    await Promise.race([over, new Promise((resolve) => setTimeout(resolve, 300))]);
    client.stream.destroy();
  }

  #drop(problem: string): void {
    this.#problem = problem;
    this.#client?.stream.destroy();
  }

  #over(startedMs: number): void {
    this.#ready = false;
    clearInterval(this.#watching);
    if (this.#closing) return;
    this.#events.lost(this.#problem);
    const pauseMs = this.#backoff.next(performance.now() - startedMs);
    // Many lose one broker at the same moment.
    this.#retry = setTimeout(() => this.open(), pauseMs * (0.75 + 0.5 * Math.random()));
  }

  /** In words, with what to do where it is known. */
  #problemOf(error: Error): string {
    const { code } = error as { code?: unknown };
    // MQTT 5, section 3.2.2.2: bad user name or password; not authorized.
    if (code === 0x86 || code === 0x87)
      return `the broker refuses the user name or the password of ${this.#with.words.who}`;
    return `the broker cannot be reached: ${plain(error.message).slice(0, 200)}`;
  }
}

function readCa(path: string): Buffer {
  try {
    return readFileSync(path);
  } catch (error) {
    throw new UnusableFile(
      `certificate ${path}: cannot be read (${(error as NodeJS.ErrnoException).code}); put the certificate of the broker's authority there`,
    );
  }
}
