import { randomBytes } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { setTimeout as sleep } from 'node:timers/promises';
import mqtt, { type MqttClient } from 'mqtt';
import { ownMs } from '../../src/show/protocol.ts';
import {
  type Answer,
  answerAsk,
  type Command,
  read,
  type Status,
  topics,
  write,
} from '../../src/show/wire.ts';
import { type Mosquitto, PASSWORDS } from '../mosquitto.ts';

const SHOW = 'foyer';

/** A conductor, as small as one can be: answers for the time, sends commands, keeps what props say. */
export class Conductor {
  readonly clock = `clock-${randomBytes(6).toString('hex')}`;
  readonly answers: Answer[] = [];
  readonly statuses = new Map<string, Status>();
  readonly #client: MqttClient;

  private constructor(client: MqttClient) {
    this.#client = client;
    client.on('message', (topic, payload) => {
      const now = this.nowMs;
      const ask = read('ask', payload);
      if (topic === topics.ask(SHOW) && 'message' in ask)
        void this.#send(
          topics.time(SHOW, ask.message.prop),
          write(answerAsk(ask.message, this.clock, now, this.nowMs)),
        );
      const answer = read('answer', payload);
      if (topic.endsWith('/answer')) {
        if ('wrong' in answer) throw new Error(answer.wrong);
        this.answers.push(answer.message);
      }
      if (topic.endsWith('/status')) {
        const status = read('status', payload);
        if ('wrong' in status) throw new Error(`a status: ${status.wrong}: ${payload}`);
        this.statuses.set(status.message.prop, status.message);
      }
    });
  }

  static async connect(broker: Mosquitto): Promise<Conductor> {
    const client = await mqtt.connectAsync(`mqtts://127.0.0.1:${broker.tlsPort}`, {
      protocolVersion: 5,
      ca: readFileSync(broker.caFile),
      username: 'conductor',
      password: PASSWORDS.conductor,
      reconnectPeriod: 100,
    });
    client.on('error', () => {});
    const conductor = new Conductor(client);
    await client.subscribeAsync([
      topics.everyStatus(SHOW),
      topics.everyAnswer(SHOW),
      topics.ask(SHOW),
    ]);
    client.on('connect', () => void conductor.#hello());
    await conductor.#hello();
    return conductor;
  }

  /** An hour ahead of the machine's clock. */
  get nowMs(): number {
    return ownMs() + 3_600_000;
  }

  #hello(): Promise<void> {
    return this.#send(topics.here(SHOW), write({ v: 1, clock: this.clock, from: 'desk' }));
  }

  async #send(topic: string, text: string, retain = false): Promise<void> {
    await this.#client.publishAsync(topic, text, { qos: 0, retain });
  }

  /** What every command has. */
  base(): Pick<Command, 'v' | 'id' | 'from' | 'clock' | 'sentMs' | 'voidAfterMs'> {
    return {
      v: 1,
      id: randomBytes(8).toString('hex'),
      from: 'desk',
      clock: this.clock,
      sentMs: this.nowMs,
      voidAfterMs: 5000,
    };
  }

  go(cue: string, inMs: number): Command {
    return { ...this.base(), act: 'go', cue, atMs: this.nowMs + inMs };
  }

  async send(command: Command, topic = topics.allCommand(SHOW), retain = false): Promise<Command> {
    await this.#client.publishAsync(topic, write(command), { qos: 1, retain });
    return command;
  }

  /** The answer to a command, with that outcome. */
  async answer(id: string, outcome?: Answer['outcome']): Promise<Answer> {
    for (;;) {
      const found = this.answers.find(
        (one) => one.id === id && (outcome === undefined || one.outcome === outcome),
      );
      if (found) return found;
      await sleep(5);
    }
  }

  /** The status of a prop, as soon as it is as wanted. */
  async status(
    prop: string,
    wanted: (status: Extract<Status, { gone: false }>) => boolean,
  ): Promise<Extract<Status, { gone: false }>> {
    for (;;) {
      const status = this.statuses.get(prop);
      if (status && !status.gone && wanted(status)) return status;
      await sleep(5);
    }
  }

  async gone(prop: string): Promise<void> {
    while (this.statuses.get(prop)?.gone !== true) await sleep(5);
  }

  async close(): Promise<void> {
    await this.#client.endAsync(true);
  }
}
