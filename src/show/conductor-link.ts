import { randomBytes } from 'node:crypto';
import { readFileSync } from 'node:fs';
import mqtt, { type IClientOptions, type MqttClient } from 'mqtt';
import { Backoff } from '../shared/backoff.ts';
import { systemClock } from '../shared/clock.ts';
import { plain } from '../shared/plain.ts';
import { Conductor } from './conductor.ts';
import { readPasswordFile } from './password-file.ts';
import type { ShowFile } from './show-file.ts';
import { MESSAGE_LIMIT_BYTES } from './wire.ts';

/** The broker must answer within this time (ms). */
const CONNECT_MS = 5000;
const KEEP_ALIVE_S = 5;
/** The longest packet that is taken in (bytes). */
const PACKET_BYTES = MESSAGE_LIMIT_BYTES + 1024;
/** While so much waits to be written, nothing more is sent (bytes). */
const UNSENT_BYTES = 1024 * 1024;

interface Options {
  show: string;
  broker: NonNullable<ShowFile['broker']>;
  from: string;
  /** The link is there, or lost, and why. */
  onLink?: (problem: string | undefined) => void;
}

/**
 * A conductor with its link to an MQTT 5 broker. It connects again by itself. What it was to send meanwhile is
 * not sent later: an old command must move nothing.
 */
export class LinkedConductor {
  readonly conductor: Conductor;
  readonly #broker: NonNullable<ShowFile['broker']>;
  readonly #onLink: (problem: string | undefined) => void;
  readonly #backoff = new Backoff();
  #client: MqttClient | undefined;
  #ready = false;
  #closing = false;
  #problem = '';
  #retry: NodeJS.Timeout | undefined;
  #opened: (() => void)[] = [];

  constructor({ show, broker, from, onLink = () => {} }: Options) {
    this.#broker = broker;
    this.#onLink = onLink;
    // Like the wall clock at the start, and steady from then on, whoever sets that.
    const origin = performance.timeOrigin;
    const clock = {
      nowMs: () => origin + performance.now(),
      after: systemClock.after.bind(systemClock),
    };
    const send = (topic: string, payload: string) => this.#send(topic, payload);
    this.conductor = new Conductor({ show, from, clock, send });
  }

  /** Connects. @throws Error where the broker cannot be had within 5 s, with why */
  async open(): Promise<void> {
    const opened = new Promise<boolean>((resolve) => {
      const timer = setTimeout(() => resolve(false), CONNECT_MS);
      this.#opened.push(() => {
        clearTimeout(timer);
        resolve(true);
      });
    });
    this.#connect();
    if (await opened) return;
    await this.close();
    throw new Error(this.#problem || 'the broker does not answer');
  }

  #connect(): void {
    const startedMs = performance.now();
    let options: IClientOptions;
    try {
      options = this.#options();
    } catch (error) {
      this.#problem = (error as Error).message;
      this.#over(startedMs);
      return;
    }
    const client = mqtt.connect(this.#broker.url, options);
    this.#client = client;
    client.on('connect', () => void this.#subscribe(client));
    client.on('message', (topic, payload) => {
      if (client === this.#client) this.conductor.receive(topic, payload);
    });
    client.on('error', (error) => {
      const { code } = error as { code?: unknown };
      // MQTT 5, section 3.2.2.2: bad user name or password; not authorized.
      this.#problem =
        code === 0x86 || code === 0x87
          ? 'the broker refuses the user name or the password'
          : `the broker cannot be reached: ${plain(error.message).slice(0, 200)}`;
      client.stream.destroy();
    });
    client.on('close', () => {
      if (client !== this.#client) return;
      this.#client = undefined;
      client.end(true);
      this.#over(startedMs);
    });
  }

  /** @throws Error where a file cannot be read */
  #options(): IClientOptions {
    const { username, passwordFile, caFile } = this.#broker;
    return {
      protocolVersion: 5,
      clientId: `sinew-conductor-${randomBytes(6).toString('hex')}`,
      clean: true,
      keepalive: KEEP_ALIVE_S,
      connectTimeout: CONNECT_MS,
      queueQoSZero: false,
      reconnectPeriod: 0,
      resubscribe: false,
      properties: { sessionExpiryInterval: 0, maximumPacketSize: PACKET_BYTES },
      ...(username !== undefined && { username }),
      ...(passwordFile !== undefined && { password: readPasswordFile(passwordFile) }),
      ...(caFile !== undefined && { ca: readFileSync(caFile) }),
      rejectUnauthorized: true,
    };
  }

  async #subscribe(client: MqttClient): Promise<void> {
    const { conductor } = this;
    try {
      // In one packet: the retained statuses come once all of it is heard.
      await client.subscribeAsync(conductor.subscriptions, { qos: 1 });
    } catch {
      this.#problem = 'the broker does not let this conductor hear the show; look at its ACL';
      client.stream.destroy();
      return;
    }
    if (client !== this.#client) return;
    this.#ready = true;
    conductor.connected();
    this.#onLink(undefined);
    for (const opened of this.#opened.splice(0)) opened();
  }

  #send(topic: string, payload: string): boolean {
    const client = this.#client;
    if (!client || !this.#ready || !client.connected) return false;
    if (client.stream.writableLength > UNSENT_BYTES) return false;
    client.publish(topic, payload, { qos: topic.includes('/clock/') ? 0 : 1, retain: false });
    return true;
  }

  #over(startedMs: number): void {
    const was = this.#ready;
    this.#ready = false;
    if (this.#closing) return;
    if (was || this.#problem === '') this.#problem ||= 'the broker has closed the connection';
    this.#onLink(this.#problem);
    const pauseMs = this.#backoff.next(performance.now() - startedMs);
    this.#retry = setTimeout(() => this.#connect(), pauseMs);
  }

  async close(): Promise<void> {
    this.#closing = true;
    clearTimeout(this.#retry);
    this.conductor.close();
    const client = this.#client;
    this.#client = undefined;
    if (!client) return;
    const over = new Promise<void>((resolve) => client.end(false, {}, () => resolve()));
    await Promise.race([over, new Promise((resolve) => setTimeout(resolve, 300))]);
    client.stream.destroy();
  }
}
