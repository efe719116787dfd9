import { CATCH_UP_EVERY_MS, CATCH_UP_MS } from '../api/limits.ts';
import type { NoticeParams } from '../api/notifications.ts';
import type { ChannelState, JournalEntry, SenseState } from '../api/types.ts';
import type { GatewayStart, SafetyInfo, ToGateway } from '../core/requests.ts';
import type { SenseNote } from '../core/senses.ts';
import { batteryState } from '../prop/battery.ts';
import type { WeakWires } from '../prop/drop-ways.ts';
import type { FileStatus } from '../prop/file/status.ts';
import type { PropView } from '../service/protocol.ts';
import type { Clock } from '../shared/clock.ts';
import { CONDITIONS, type Condition } from '../shared/condition.ts';
import {
  BATTERY_FIELDS,
  FIELD,
  FLAG,
  flagNames,
  RAIL_FIELD,
  RELAY_FIELD,
  SENSE_FIELD,
  type Snapshot,
  Telemetry,
  type TelemetryBody,
} from '../shared/telemetry.ts';
import { tidy } from '../shared/units.ts';
import { type Cause, causeOf } from './cause.ts';

type ValueType = PropView['channels'][number]['value'];
/** What runs by itself. */
export type Running = Omit<Extract<ToGateway, { t: 'running' }>, 't'>;

function level(snapshot: Snapshot, channel: number, field: number, type: ValueType) {
  const first = snapshot.channel(channel, field);
  switch (type) {
    case 'deg':
      return tidy(first, 3);
    case 'on':
      return first !== 0;
    case 'lightness':
    case 'volume':
      return tidy(first, 4);
    case 'colour':
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
export function channelState(snapshot: Snapshot, channel: number, type: ValueType): ChannelState {
  const bits = snapshot.channel(channel, FIELD.flags);
  // Off is not said of what may be on.
  const unknown = type !== 'deg' && (bits & FLAG.unknown) !== 0;
  const state: ChannelState = {
    value: unknown ? null : level(snapshot, channel, FIELD.value, type),
    target: level(snapshot, channel, FIELD.target, type),
    flags: flagNames(bits),
    amps: tidy(snapshot.channel(channel, FIELD.amps)),
  };
  if (type === 'on') {
    const offAtS = snapshot.channel(channel, FIELD.value + RELAY_FIELD.offAtS);
    const readyAtS = snapshot.channel(channel, FIELD.value + RELAY_FIELD.readyAtS);
    if (offAtS > 0) state.offAtS = tidy(offAtS, 1);
    if (readyAtS > 0) state.readyAtS = tidy(readyAtS, 1);
  }
  if (type !== 'deg') return state;
  state.pulseUs = tidy(snapshot.channel(channel, FIELD.pulseUs));
  state.pushing = (bits & FLAG.pushing) !== 0;
  const measuredDeg = snapshot.channel(channel, FIELD.measuredDeg);
  const measuredA = snapshot.channel(channel, FIELD.measuredA);
  if (!Number.isNaN(measuredDeg)) state.measuredDeg = tidy(measuredDeg);
  if (!Number.isNaN(measuredA)) state.measuredA = tidy(measuredA);
  return state;
}

/**
 * The gateway's picture of the prop, and the one place that knows which version is in use: the last
 * snapshot, the text of every channel in it, and everything else that the core is not asked for.
 */
export class View {
  readonly start: GatewayStart;
  readonly telemetry: Telemetry;
  /** Counts the versions of the prop since this gateway was started. */
  generation = 0;
  prop: PropView;
  status: FileStatus;
  /** Why nothing is heard over OSC though the prop file asks for it. */
  oscProblem: string | undefined;
  /** Why nothing is heard of a lighting desk though the prop file asks for it. */
  e131Problem: string | undefined;
  /** Name of the client that holds the lease. */
  holder: string | null = null;
  /** What keeps the prop from waking and moving. */
  safety: SafetyInfo = { lockout: null, guards: [], notParked: null };
  running: Running = { cues: [], idle: null, armed: false };
  /** Why the prop is in its condition. */
  cause: Cause | undefined;
  /** Who asks the holder for control: the name, by session. */
  readonly asks = new Map<string, string>();
  #handover: { by: string; untilS: number } | undefined;
  /** When each cue was started last (s). */
  readonly #startedS = new Map<string, number>();
  /** State of every channel, and `"name":{...}` of it, brought up to date by `refresh`. */
  states: ChannelState[] = [];
  texts: string[] = [];
  readonly #clock: Clock;
  #snapshot: Snapshot;
  /** The snapshot that `texts` were made from. */
  #shown: Snapshot;
  /** The body is that of a new version, and the core may not have written into it yet. */
  #blank = false;
  /** The number of ticks when the core last answered a command. */
  #answeredAt: number | undefined;
  #catchingUp: { from: number | undefined; done: Promise<void> } | undefined;

  constructor(start: GatewayStart, clock: Clock) {
    this.start = start;
    this.#clock = clock;
    this.telemetry = new Telemetry(start.telemetry);
    this.prop = parseView(start.view);
    this.status = start.status;
    this.#snapshot = this.telemetry.snapshot();
    this.#shown = this.telemetry.snapshot();
    this.#begin();
  }

  /** Uses another version of the prop from now on. */
  replace(view: Uint8Array, body: TelemetryBody): void {
    const { condition, tS } = this.#shown;
    this.prop = parseView(view);
    this.telemetry.useBody(body);
    this.generation++;
    // The news of the file was about the version before; the service sends what holds now.
    if (this.status.version !== this.prop.version) {
      const { name } = this.status;
      const { version } = this.prop;
      this.status = { name, version, onDisk: null, pending: false, findings: [], changed: [] };
    }
    this.#snapshot = this.telemetry.snapshot();
    this.#shown = this.telemetry.snapshot();
    this.#begin();
    this.#blank = true;
    this.#shown.condition = condition;
    this.#shown.body[0] = tS;
  }

  #begin(): void {
    this.texts = this.prop.channels.map(() => '');
    this.states = [];
    this.#shown.body.fill(0);
  }

  /** Whether there is a picture of the version in use. */
  get shows(): boolean {
    return !this.#blank;
  }

  /** Takes a new snapshot; false, with the old picture kept, if the core was busy writing. */
  refresh(): boolean {
    if (!this.telemetry.read(this.#snapshot)) return false;
    // The core counts its ticks from 1.
    if (this.#blank && this.#snapshot.tick === 0) return false;
    this.#blank = false;
    this.prop.channels.forEach(({ name, value }, channel) => {
      if (!this.#changed(channel)) return;
      const state = channelState(this.#snapshot, channel, value);
      this.states[channel] = state;
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

  /** The core has answered a command: only its next tick shows what that did. */
  answered(): void {
    this.#answeredAt = this.telemetry.coreBeat;
  }

  /** Resolves when the telemetry shows what the commands answered so far have done, or soon after. */
  caughtUp(): Promise<void> {
    const from = this.#answeredAt;
    if (this.#isPast(from)) return Promise.resolve();
    // Everybody who waits for the same tick waits together.
    if (this.#catchingUp === undefined || this.#catchingUp.from !== from) {
      const untilMs = this.#clock.nowMs() + CATCH_UP_MS;
      const done = new Promise<void>((resolve) => {
        const look = () => {
          if (this.#isPast(from) || this.#clock.nowMs() >= untilMs) {
            this.#catchingUp = undefined;
            resolve();
          } else this.#clock.after(CATCH_UP_EVERY_MS, look);
        };
        this.#clock.after(CATCH_UP_EVERY_MS, look);
      });
      this.#catchingUp = { from, done };
    }
    return this.#catchingUp.done;
  }

  #isPast(from: number | undefined): boolean {
    if (this.#blank) this.refresh();
    return !this.#blank && this.telemetry.coreBeat !== from;
  }

  /** Takes from an entry of the journal what is shown of it. */
  note(entry: JournalEntry): void {
    const { what, who, values, text } = entry;
    this.cause = causeOf(entry) ?? this.cause;
    this.refresh();
    if (what === 'cue' && typeof values?.cue === 'string' && / runs$/.test(text))
      this.#startedS.set(values.cue, this.tS);
    if (what !== 'lease') return;
    const graceS = Number(values?.graceS ?? 0);
    this.#handover = graceS > 0 ? { by: who, untilS: tidy(this.tS + graceS, 1) } : undefined;
  }

  /** When a cue that runs was started (s). */
  startedS(cue: string): number | undefined {
    return this.#startedS.get(cue);
  }

  /** Nobody has control, and the prop stays awake for the next holder. */
  get handover(): { by: string; untilS: number } | undefined {
    const waits = this.holder === null && this.condition === 'live';
    return waits ? this.#handover : undefined;
  }

  /** Whether a servo moves or a cue runs. */
  moves(): boolean {
    this.refresh();
    if (this.running.cues.length > 0) return true;
    return this.states.some(
      ({ flags }, channel) =>
        this.prop.channels[channel]?.value === 'deg' && flags.includes('moving'),
    );
  }

  get condition(): Condition {
    return CONDITIONS[this.#shown.condition]!;
  }

  /** At rest, but not parked: why. */
  get notParked(): string | undefined {
    return this.condition === 'parked' ? (this.safety.notParked ?? undefined) : undefined;
  }

  /** Seconds since the daemon started. */
  get tS(): number {
    return tidy(this.#shown.tS);
  }

  /** Number of the tick that is shown. */
  get tick(): number {
    return this.#shown.tick;
  }

  /** Estimated and measured draw, and measured voltage; what is not measured is left out. */
  rails(): Record<string, RailState> {
    return Object.fromEntries(
      this.prop.rails.map(({ name, limitA, battery }, rail) => {
        const at = (field: number) => this.#shown.rail(rail, field);
        const [measuredA, measuredV] = [at(RAIL_FIELD.measuredA), at(RAIL_FIELD.measuredV)];
        const state = {
          amps: tidy(at(RAIL_FIELD.amps)),
          ...(!Number.isNaN(measuredA) && { measuredA: tidy(measuredA) }),
          ...(!Number.isNaN(measuredV) && { measuredV: tidy(measuredV) }),
          ...(battery && { battery: this.#batteryState(battery, rail) }),
          limitA,
        };
        return [name, state];
      }),
    );
  }

  #batteryState(battery: NonNullable<PropView['rails'][number]['battery']>, rail: number) {
    const numbers = Float64Array.from({ length: BATTERY_FIELDS }, (_unused, field) =>
      this.#shown.rail(rail, RAIL_FIELD.battery + field),
    );
    return batteryState(battery, numbers);
  }

  /** Wires that have too much resistance, by what is measured. */
  get weakWires(): readonly WeakWires[] {
    return this.safety.senses?.flatMap(({ weak }) => weak ?? []) ?? [];
  }

  /** What is measured, in the order of the file. */
  senses(): Record<string, SenseState> {
    const { senses: infos = [] } = this.prop;
    return Object.fromEntries(
      infos.map(({ name, kind, unit }, sense) => {
        const at = (field: number) => this.#shown.sense(sense, field);
        const [value, raw, ageS] = [
          at(SENSE_FIELD.value),
          at(SENSE_FIELD.raw),
          at(SENSE_FIELD.ageS),
        ];
        const textOf = (what: SenseNote['what']) =>
          this.safety.senses
            ?.filter((note) => note.name === name && note.what === what)
            .map(({ text }) => text)
            .join('; ') || undefined;
        const [fault, warning, low] = [textOf('fault'), textOf('warning'), textOf('low')];
        const state: SenseState = {
          kind,
          value: Number.isNaN(value) ? null : tidy(value),
          unit,
          ...(Number.isFinite(raw) && { raw: tidy(raw, 4) }),
          ...(Number.isFinite(ageS) && { ageS: tidy(ageS, 1) }),
          ...(fault !== undefined && { fault }),
          ...(warning !== undefined && { warning }),
          ...(low !== undefined && { low }),
        };
        return [name, state];
      }),
    );
  }
}

type RailState = NoticeParams<'state'>['rails'][string];

function parseView(view: Uint8Array): PropView {
  return JSON.parse(new TextDecoder().decode(view));
}

interface Follower {
  send(frame: Buffer): void;
}

/** Followers of one rate share a timer and the text of their frames. */
interface Rate {
  /** Followers that have their first frame, and those that wait for it. */
  running: Set<Follower>;
  fresh: Set<Follower>;
  /** The text of each channel as this rate's followers know it. */
  sent: string[];
  /** The version of the prop that `sent` is of. */
  generation: number;
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
      const { generation } = this.#view;
      rate = {
        running: new Set(),
        fresh: new Set(),
        sent: [],
        generation,
        dueMs,
        cancel: () => {},
      };
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
      // A thread that was held up leaves frames out; it does not send them all at once.
      rate.dueMs = Math.max(rate.dueMs + 1000 / hz, this.#clock.nowMs());
      this.#arm(rate, hz);
      this.#frame(rate);
    });
  }

  #frame(rate: Rate): void {
    if (!this.#view.refresh()) return;
    const { texts, generation } = this.#view;
    if (rate.generation !== generation) {
      // The prop has other channels: every follower begins with all of them.
      rate.generation = generation;
      rate.fresh = new Set([...rate.running, ...rate.fresh]);
      rate.running = new Set();
    }
    const changed = texts.filter((text, channel) => text !== rate.sent[channel]);
    rate.sent = [...texts];
    const { running, fresh } = rate;
    rate.running = new Set([...running, ...fresh]);
    rate.fresh = new Set();

    const frame = (channels: string[]) =>
      Buffer.from(
        `{"jsonrpc":"2.0","method":"state","params":{"condition":"${this.#view.condition}",` +
          `"t":${this.#view.tS},"tick":${this.#view.tick},"holder":${JSON.stringify(this.#view.holder)},` +
          safetyText(this.#view) +
          `"channels":{${channels.join(',')}},"rails":${JSON.stringify(this.#view.rails())}${sensesText(this.#view)}}}`,
      );
    // Sending may end a follower, and with it change the sets: these are this frame's own.
    send(running, () => frame(changed));
    send(fresh, () => frame(texts));
  }
}

/** Nothing for a prop that measures nothing. */
function sensesText(view: View): string {
  if (!view.prop.senses?.length) return '';
  return `,"senses":${JSON.stringify(view.senses())}`;
}

/** Only what applies: a prop that is free, and parked, has none. */
function safetyText(view: View): string {
  const { notParked, cause, handover } = view;
  const { lockout, guards } = view.safety;
  const { armedForShow } = view.running;
  const asks = [...new Set(view.asks.values())];
  return (
    (cause ? `"cause":${JSON.stringify(cause)},` : '') +
    (handover ? `"handover":${JSON.stringify(handover)},` : '') +
    (asks.length > 0 ? `"asks":${JSON.stringify(asks)},` : '') +
    (notParked !== undefined ? `"notParked":${JSON.stringify(notParked)},` : '') +
    (lockout ? `"lockout":${JSON.stringify(lockout)},` : '') +
    (guards.length > 0 ? `"guards":${JSON.stringify(guards)},` : '') +
    (armedForShow !== undefined ? `"armedForShow":${JSON.stringify(armedForShow)},` : '')
  );
}

function send(followers: ReadonlySet<Follower>, make: () => Buffer): void {
  if (followers.size === 0) return;
  const frame = make();
  for (const follower of followers) follower.send(frame);
}
