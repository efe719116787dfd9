import { CONDITIONS, type Condition } from '../core/condition.ts';
import type { ChannelState, GatewayStart } from '../core/requests.ts';
import type { Clock } from '../shared/clock.ts';
import {
  FIELD,
  FLAG,
  flagNames,
  RAIL_FIELD,
  type Snapshot,
  Telemetry,
} from '../shared/telemetry.ts';
import { tidy } from '../shared/units.ts';

type Kind = GatewayStart['channels'][number]['kind'];

function level(snapshot: Snapshot, channel: number, field: number, kind: Kind) {
  const first = snapshot.channel(channel, field);
  switch (kind) {
    case 'servo':
      return tidy(first, 3);
    case 'relay':
      return first !== 0;
    case 'lamp':
      return tidy(first, 4);
    case 'rgb':
      return hex(first, snapshot.channel(channel, field + 1), snapshot.channel(channel, field + 2));
  }
}

/** sRGB components 0..1 as #rrggbb. */
function hex(red: number, green: number, blue: number): string {
  const byte = (part: number) =>
    Math.round(Math.min(Math.max(part, 0), 1) * 255)
      .toString(16)
      .padStart(2, '0');
  return `#${byte(red)}${byte(green)}${byte(blue)}`;
}

/** One channel of a snapshot in the API's terms. Angles to 1/1000 deg, currents to 1 mA. */
export function channelState(snapshot: Snapshot, channel: number, kind: Kind): ChannelState {
  const bits = snapshot.channel(channel, FIELD.flags);
  const state: ChannelState = {
    value: level(snapshot, channel, FIELD.value, kind),
    target: level(snapshot, channel, FIELD.target, kind),
    flags: flagNames(bits),
    amps: tidy(snapshot.channel(channel, FIELD.amps)),
  };
  if (kind !== 'servo') return state;
  state.pulseUs = tidy(snapshot.channel(channel, FIELD.pulseUs));
  state.pushing = (bits & FLAG.pushing) !== 0;
  const measuredDeg = snapshot.channel(channel, FIELD.measuredDeg);
  const measuredA = snapshot.channel(channel, FIELD.measuredA);
  if (!Number.isNaN(measuredDeg)) state.measuredDeg = tidy(measuredDeg);
  if (!Number.isNaN(measuredA)) state.measuredA = tidy(measuredA);
  return state;
}

/** The gateway's picture of the prop: the last snapshot, and the text of every channel in it. */
export class View {
  readonly start: GatewayStart;
  readonly telemetry: Telemetry;
  /** Name of the client that holds the lease. */
  holder: string | null = null;
  /** `"name":{...}` for every channel, brought up to date by `refresh`. */
  readonly texts: string[];
  readonly #snapshot: Snapshot;
  /** The snapshot that `texts` were made from. */
  readonly #shown: Snapshot;

  constructor(start: GatewayStart) {
    this.start = start;
    this.telemetry = new Telemetry(start.telemetry);
    this.texts = start.channels.map(() => '');
    this.#snapshot = this.telemetry.snapshot();
    this.#shown = this.telemetry.snapshot();
    this.#shown.body.fill(Number.NaN);
  }

  /** Takes a new snapshot; false, with the old picture kept, if the core was busy writing. */
  refresh(): boolean {
    if (!this.telemetry.read(this.#snapshot)) return false;
    this.start.channels.forEach(({ name, kind }, channel) => {
      if (!this.#changed(channel)) return;
      const state = channelState(this.#snapshot, channel, kind);
      this.texts[channel] = `${JSON.stringify(name)}:${JSON.stringify(state)}`;
    });
    this.#shown.body.set(this.#snapshot.body);
    this.#shown.condition = this.#snapshot.condition;
    return true;
  }

  #changed(channel: number): boolean {
    if (this.texts[channel] === '') return true;
    for (let field = 0; field <= FIELD.measuredA; field++) {
      const now = this.#snapshot.channel(channel, field);
      if (!Object.is(now, this.#shown.channel(channel, field))) return true;
    }
    return false;
  }

  get condition(): Condition {
    return CONDITIONS[this.#shown.condition]!;
  }

  /** Seconds since the daemon started. */
  get tS(): number {
    return tidy(this.#shown.tS);
  }

  rails(): Record<string, { amps: number; measuredA?: number; limitA: number }> {
    return Object.fromEntries(
      this.start.rails.map(({ name, limitA }, rail) => {
        const amps = tidy(this.#shown.rail(rail, RAIL_FIELD.amps));
        const measured = this.#shown.rail(rail, RAIL_FIELD.measuredA);
        const measuredA = Number.isNaN(measured) ? {} : { measuredA: tidy(measured) };
        return [name, { amps, ...measuredA, limitA }];
      }),
    );
  }
}

export interface Follower {
  send(frame: Buffer): void;
}

/** Followers of one rate share a timer and the text of their frames. */
interface Rate {
  /** Followers that have their first frame, and those that wait for it. */
  running: Set<Follower>;
  fresh: Set<Follower>;
  /** The text of each channel as this rate's followers know it. */
  sent: string[];
  dueMs: number;
  cancel: () => void;
}

/** Sends `state` notifications, each rate on its own absolute schedule. */
export class StateFeed {
  readonly #view: View;
  readonly #clock: Clock;
  readonly #rates = new Map<number, Rate>();

  constructor(view: View, clock: Clock) {
    this.#view = view;
    this.#clock = clock;
  }

  /** From now on `follower` gets `hz` frames per second; the first one holds every channel. */
  follow(follower: Follower, hz: number): void {
    this.unfollow(follower);
    let rate = this.#rates.get(hz);
    if (!rate) {
      const dueMs = this.#clock.nowMs();
      rate = { running: new Set(), fresh: new Set(), sent: [], dueMs, cancel: () => {} };
      this.#rates.set(hz, rate);
      this.#arm(rate, hz);
    }
    rate.fresh.add(follower);
  }

  unfollow(follower: Follower): void {
    for (const [hz, rate] of this.#rates) {
      rate.running.delete(follower);
      rate.fresh.delete(follower);
      if (rate.running.size + rate.fresh.size > 0) continue;
      rate.cancel();
      this.#rates.delete(hz);
    }
  }

  close(): void {
    for (const rate of this.#rates.values()) rate.cancel();
    this.#rates.clear();
  }

  #arm(rate: Rate, hz: number): void {
    rate.cancel = this.#clock.after(rate.dueMs - this.#clock.nowMs(), () => {
      // A thread that was held up leaves frames out; it does not send them in a heap.
      rate.dueMs = Math.max(rate.dueMs + 1000 / hz, this.#clock.nowMs());
      this.#arm(rate, hz);
      this.#frame(rate);
    });
  }

  #frame(rate: Rate): void {
    if (!this.#view.refresh()) return;
    const texts = this.#view.texts;
    const changed = texts.filter((text, channel) => text !== rate.sent[channel]);
    rate.sent = [...texts];
    const { running, fresh } = rate;
    rate.running = new Set([...running, ...fresh]);
    rate.fresh = new Set();

    const frame = (channels: string[]) =>
      Buffer.from(
        `{"jsonrpc":"2.0","method":"state","params":{"condition":"${this.#view.condition}",` +
          `"t":${this.#view.tS},"holder":${JSON.stringify(this.#view.holder)},` +
          `"channels":{${channels.join(',')}},"rails":${JSON.stringify(this.#view.rails())}}}`,
      );
    // Sending may end a follower, and with it change the sets: these are this frame's own.
    send(running, () => frame(changed));
    send(fresh, () => frame(texts));
  }
}

function send(followers: ReadonlySet<Follower>, make: () => Buffer): void {
  if (followers.size === 0) return;
  const frame = make();
  for (const follower of followers) follower.send(frame);
}
