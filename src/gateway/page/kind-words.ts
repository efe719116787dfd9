import type { ChannelInfo } from '../../api/types.ts';
import { angle } from './angle.ts';
import type { KindWords, Level } from './page-kind.ts';
import { SAME_DEG } from './standing.ts';

const LOST = 'its board cannot be reached: it may be on';
const percent = (value: Level) => `${Math.round(Number(value) * 100)} %`;

const DARK = '#000000';
const rgbLight = (value: Level) =>
  typeof value === 'string' && value !== DARK ? value : undefined;

/** Warm white; in steps of a tenth, as a fade need not be drawn with every state. */
function lampLight(value: Level): string | undefined {
  if (!(Number(value) > 0)) return undefined;
  const share = Math.max(10, Math.round(Number(value) * 10) * 10);
  return `color-mix(in oklch, #ffdf9e ${share}%, #3a3226)`;
}

const lit = (light: string | undefined) => (light === undefined ? 'dark' : 'lit');

/** What the page says of each kind of channel. Apart from what it shows of them, which uses these words. */
export const KIND_WORDS: Record<ChannelInfo['kind'], KindWords> = {
  servo: {
    title: 'Servos',
    sheet: 'Servos',
    moves: true,
    lit: false,
    part: 'move',
    level: (value) => angle(Number(value)),
    figure: (value) => angle(Number(value)),
    reachedDeg: SAME_DEG,
    showsItself: 'The servo wiggles.',
    identify: 'wiggle',
    symptoms: ['dead', 'weak', 'buzzing', 'wrong-way'],
    flags: {},
    mark: { changes: 'moves', words: () => '' },
  },
  relay: {
    title: 'Relays',
    sheet: 'Relays',
    moves: false,
    lit: false,
    part: 'switch',
    level: (value) => (value ? 'on' : 'off'),
    figure: (value) => (value ? 'on: closed' : 'off: open'),
    showsItself: 'The relay clicks: what it feeds goes on, or off, for a moment.',
    identify: 'a click',
    symptoms: ['dead', 'weak', 'stays-on'],
    flags: { unknown: LOST, delayed: 'about to close' },
    mark: { changes: 'changes', words: (value) => (value ? 'on' : 'off'), isOn: Boolean },
  },
  lamp: {
    title: 'Lamps',
    sheet: 'Lights',
    moves: false,
    lit: true,
    part: 'dim',
    level: percent,
    figure: (value) => `${percent(value)} brightness`,
    showsItself: 'The lamp blinks twice.',
    identify: 'blink twice',
    symptoms: ['dead', 'dim', 'stays-on'],
    flags: { unknown: LOST, moving: 'fading' },
    mark: { changes: 'fades', words: (value) => lit(lampLight(value)), light: lampLight },
  },
  rgb: {
    title: 'Coloured lights',
    sheet: 'Lights',
    moves: false,
    lit: true,
    part: 'colour',
    level: String,
    figure: String,
    showsItself: 'The light blinks twice.',
    identify: 'blink twice',
    symptoms: ['dead', 'dim', 'stays-on'],
    flags: { unknown: LOST, moving: 'fading' },
    mark: { changes: 'fades', words: (value) => lit(rgbLight(value)), light: rgbLight },
  },
  sound: {
    title: 'Sounds',
    sheet: 'Sounds',
    moves: false,
    lit: false,
    level: (value) => (Number(value) > 0 ? percent(value) : 'silent'),
    figure: (value) => (Number(value) > 0 ? `${percent(value)} of its ceiling` : 'silent'),
    part: 'sound',
    showsItself: 'The loudspeaker plays a short tone.',
    identify: 'a short tone',
    symptoms: [],
    flags: { moving: 'fading' },
    mark: {
      changes: 'changes',
      words: (value) => (Number(value) > 0 ? 'playing' : 'silent'),
      isOn: (value) => Number(value) > 0,
    },
  },
};
