import type { IncidentBody } from '../api/types.ts';
import type { Stood } from '../record/incident.ts';
import type { Clock } from '../shared/clock.ts';
import { CONDITIONS, type Condition } from '../shared/condition.ts';
import {
  FIELD,
  FLAG,
  RAIL_FIELD,
  SENSE_FIELD,
  type Snapshot,
  Telemetry,
  type TelemetryBuffers,
} from '../shared/telemetry.ts';
import { tidy } from '../shared/units.ts';
import type { PropView } from './protocol.ts';

/** How often the telemetry is looked at (ms), and how many looks are kept: 20 s. */
const EVERY_MS = 100;
const KEPT = 200;

/** Before a stop (s): the prop acted then. */
const SHORTLY_S = 0.5;

const LATCHED: readonly Condition[] = ['stopped', 'faulted'];

/** What is kept of each: in this order. */
const CHANNEL = [
  FIELD.value,
  FIELD.value + 1,
  FIELD.value + 2,
  FIELD.target,
  FIELD.measuredDeg,
  FIELD.measuredA,
  FIELD.flags,
] as const;
const RAIL = [RAIL_FIELD.amps, RAIL_FIELD.measuredA, RAIL_FIELD.measuredV] as const;

interface Sample {
  tS: number;
  tick: number;
  condition: number;
  /** Since the holder of the lease last showed that its link works both ways (ms); NaN without one. */
  linkMs: number;
  numbers: Float32Array;
}

type Names = Pick<PropView, 'channels' | 'rails' | 'senses'>;

/**
 * The last 20 s of the telemetry, as this thread has seen it: the memory is bounded, and the core is not
 * asked. While this thread is busy, samples are missing; each has its own time.
 */
export class TelemetryRing {
  readonly #clock: Clock;
  readonly #telemetry: Telemetry;
  readonly #counts: { channels: number; rails: number; senses: number };
  readonly #snapshot: Snapshot;
  readonly #samples: Sample[] = [];
  #next = 0;
  /** The signs of life of the holder, and when each changed last (ms). */
  readonly #life = { slot: -1, sent: 0, sentMs: 0, received: 0, receivedMs: 0 };
  #stop: () => void = () => {};

  constructor(buffers: TelemetryBuffers, clock: Clock) {
    this.#clock = clock;
    this.#telemetry = new Telemetry(buffers);
    this.#counts = buffers;
    this.#snapshot = this.#telemetry.snapshot();
    this.#arm();
  }

  close(): void {
    this.#stop();
  }

  #arm(): void {
    this.#stop = this.#clock.after(EVERY_MS, () => {
      this.sample();
      this.#arm();
    });
  }

  /** Takes a sample, unless there was no tick since the last one. */
  sample(): void {
    const linkMs = this.#linkMs();
    if (!this.#telemetry.read(this.#snapshot)) return;
    const { tS, tick, condition } = this.#snapshot;
    const newest = this.#newest;
    if (newest && newest.tick === tick) {
      newest.linkMs = linkMs;
      return;
    }
    const { channels, rails, senses } = this.#counts;
    const size = channels * CHANNEL.length + rails * RAIL.length + senses;
    // The oldest gives its memory to the newest.
    const sample = this.#samples[this.#next] ?? {
      ...{ tS, tick, condition, linkMs },
      numbers: new Float32Array(size),
    };
    Object.assign(sample, { tS, tick, condition, linkMs });
    this.#fill(sample.numbers);
    this.#samples[this.#next] = sample;
    this.#next = (this.#next + 1) % KEPT;
  }

  get #newest(): Sample | undefined {
    return this.#samples[(this.#next + KEPT - 1) % KEPT];
  }

  #fill(into: Float32Array): void {
    const { channels, rails, senses } = this.#counts;
    let at = 0;
    for (let i = 0; i < channels; i++)
      for (const field of CHANNEL) into[at++] = this.#snapshot.channel(i, field);
    for (let i = 0; i < rails; i++)
      for (const field of RAIL) into[at++] = this.#snapshot.rail(i, field);
    for (let i = 0; i < senses; i++) into[at++] = this.#snapshot.sense(i, SENSE_FIELD.value);
  }

  #linkMs(): number {
    const life = this.#life;
    const slot = this.#telemetry.holder;
    const nowMs = this.#clock.nowMs();
    const sent = slot < 0 ? 0 : this.#telemetry.life(slot);
    const received = slot < 0 ? 0 : this.#telemetry.received(slot);
    const isOther = slot !== life.slot;
    life.slot = slot;
    if (isOther || sent !== life.sent) life.sentMs = nowMs;
    if (isOther || received !== life.received) life.receivedMs = nowMs;
    life.sent = sent;
    life.received = received;
    return slot < 0 ? Number.NaN : nowMs - Math.min(life.sentMs, life.receivedMs);
  }

  /** Oldest first. */
  #inOrder(): Sample[] {
    return [...this.#samples.slice(this.#next), ...this.#samples.slice(0, this.#next)];
  }

  /** When a tick was, or will be (s since the daemon started). */
  timeOf(tick: number): number {
    const samples = this.#inOrder();
    const [first, last] = [samples[0], samples.at(-1)];
    if (!first || !last) return 0;
    const ticks = last.tick - first.tick;
    const tickS = ticks > 0 ? (last.tS - first.tS) / ticks : 0;
    return last.tS + (tick - last.tick) * tickS;
  }

  /** Whether the prop has been stopped or faulted all the time, and stood still. */
  get isLatched(): boolean {
    const [first, ...others] = this.#inOrder();
    if (!first || !LATCHED.includes(CONDITIONS[first.condition]!)) return false;
    return others.every(
      ({ condition, numbers }) =>
        condition === first.condition && this.#sameValues(numbers, first.numbers),
    );
  }

  #sameValues(a: Float32Array, b: Float32Array): boolean {
    for (let i = 0; i < this.#counts.channels; i++)
      if (a[i * CHANNEL.length] !== b[i * CHANNEL.length]) return false;
    return true;
  }

  /** The condition and the channels in the last sample before a time (s). */
  stood(beforeS: number, { channels }: Names): { condition: string; stood: Stood[] } | undefined {
    const before = this.#inOrder().filter(({ tS }) => tS < beforeS);
    // A stop between two ticks changes the condition of the tick before it.
    const acting = before.findLast(
      ({ tS, condition }) => tS > beforeS - SHORTLY_S && !LATCHED.includes(CONDITIONS[condition]!),
    );
    const sample = acting ?? before.at(-1);
    if (!sample || channels.length !== this.#counts.channels) return undefined;
    const stood = channels.map(({ name, value: type }, i): Stood => {
      const [value, green, blue, target, , , flags] = sample.numbers.subarray(i * CHANNEL.length);
      const isUnknown = type !== 'deg' && (flags! & FLAG.unknown) !== 0;
      if (isUnknown) return { name, value: null };
      if (type === 'on') return { name, value: value !== 0 };
      if (type === 'colour') return { name, value: Math.max(value!, green!, blue!) > 0 };
      if (type !== 'deg') return { name, value: value! > 0 };
      const isMoving = (flags! & FLAG.moving) !== 0;
      return { name, value: value!, ...(isMoving && { to: target! }) };
    });
    return { condition: CONDITIONS[sample.condition]!, stood };
  }

  /** Everything from `fromS` on (s since the daemon started), with times from `zeroS` on. */
  curves(fromS: number, zeroS: number, names: Names): IncidentBody {
    const samples = this.#inOrder().filter(({ tS }) => tS >= fromS);
    const { channels, rails, senses } = this.#counts;
    const column = (at: number, digits: number): Series =>
      seriesOf(
        samples.map(({ numbers }) => numbers[at]!),
        digits,
      );
    const brightest = (at: number): Series =>
      seriesOf(
        samples.map(({ numbers }) => Math.max(...numbers.subarray(at, at + 3))),
        3,
      );
    const railsAt = channels * CHANNEL.length;
    const sensesAt = railsAt + rails * RAIL.length;
    const isSame = names.channels.length === channels;
    return {
      t: samples.map(({ tS }) => tidy(tS - zeroS, 2)),
      condition: samples.map(({ condition }) => CONDITIONS[condition]!),
      linkMs: samples.map(({ linkMs }) => (Number.isNaN(linkMs) ? null : Math.round(linkMs))),
      channels: Object.fromEntries(
        (isSame ? names.channels : []).map(({ name, value }, i) => {
          const at = i * CHANNEL.length;
          const [measuredDeg, measuredA] = [column(at + 4, 1), column(at + 5, 3)];
          const isServo = value === 'deg';
          return [
            name,
            {
              value: value === 'colour' ? brightest(at) : column(at, isServo ? 2 : 3),
              ...(isServo && { target: column(at + 3, 2) }),
              ...(isServo && measuredDeg !== null && { measuredDeg }),
              ...(isServo && measuredA !== null && { measuredA }),
            },
          ];
        }),
      ),
      rails: Object.fromEntries(
        names.rails.slice(0, rails).map(({ name }, i) => {
          const at = railsAt + i * RAIL.length;
          const [measuredA, measuredV] = [column(at + 1, 3), column(at + 2, 3)];
          return [
            name,
            {
              amps: column(at, 3),
              ...(measuredA !== null && { measuredA }),
              ...(measuredV !== null && { measuredV }),
            },
          ];
        }),
      ),
      senses: Object.fromEntries(
        (names.senses ?? [])
          .slice(0, senses)
          .map(({ name, unit }, i) => [name, { unit, value: column(sensesAt + i, 3) }]),
      ),
    };
  }
}

/** A value that stayed the same is written once; null where it was never measured. */
type Series = number | null | (number | null)[];

function seriesOf(values: readonly number[], digits: number): Series {
  const tidied = values.map((value) => (Number.isFinite(value) ? tidy(value, digits) : null));
  const [first = null] = tidied;
  return tidied.every((value) => value === first) ? first : tidied;
}
