import type { ChannelInfo, ChannelState, Symptom } from '../../api/types.ts';
import type { FlagName } from '../../shared/telemetry.ts';
import { angle } from './angle.ts';

type Level = NonNullable<ChannelState['value']>;

/** What the page says of a kind of channel; its controls are in overview-channels and bench-others. */
interface PageKind {
  /** Several of them. */
  title: string;
  /** A value in a line, and beside a figure. */
  level(value: Level): string;
  figure(value: Level): string;
  /** Target and value differ by less than this, and are the same to a person (deg). */
  reachedDeg?: number;
  /** What is seen when it shows itself, and in two words. */
  showsItself: string;
  identify: string;
  symptoms: readonly Symptom[];
  /** Flags that mean something else here. */
  flags: Partial<Record<FlagName, string>>;
  /** Its light may flash. */
  lit: boolean;
}

const LOST = 'its board cannot be reached: it may be on';
const percent = (value: Level) => `${Math.round(Number(value) * 100)} %`;

/** Every kind of channel, in the order in which they are listed. */
export const KINDS: Record<ChannelInfo['kind'], PageKind> = {
  servo: {
    title: 'Servos',
    level: (value) => angle(Number(value)),
    figure: (value) => angle(Number(value)),
    reachedDeg: 0.05,
    showsItself: 'The servo wiggles.',
    identify: 'wiggle',
    symptoms: ['dead', 'buzzing', 'wrong-way'],
    flags: {},
    lit: false,
  },
  relay: {
    title: 'Relays',
    level: (value) => (value ? 'on' : 'off'),
    figure: (value) => (value ? 'on: closed' : 'off: open'),
    showsItself: 'The relay clicks: what it feeds goes on, or off, for a moment.',
    identify: 'a click',
    symptoms: ['dead', 'stays-on'],
    flags: { unknown: LOST, delayed: 'about to close' },
    lit: false,
  },
  lamp: {
    title: 'Lamps',
    level: percent,
    figure: (value) => `${percent(value)} lightness`,
    showsItself: 'The lamp blinks twice.',
    identify: 'blink twice',
    symptoms: ['dead', 'dim', 'stays-on'],
    flags: { unknown: LOST, moving: 'fading' },
    lit: true,
  },
  rgb: {
    title: 'Colour lights',
    level: String,
    figure: String,
    showsItself: 'The light blinks twice.',
    identify: 'blink twice',
    symptoms: ['dead', 'dim', 'stays-on'],
    flags: { unknown: LOST, moving: 'fading' },
    lit: true,
  },
};
