import type { ChannelInfo } from '../../api/types.ts';
import { angle } from './angle.ts';
import type { KindWords, Level } from './page-kind.ts';
import { SAME_DEG } from './standing.ts';

const LOST = 'its board cannot be reached: it may be on';
const percent = (value: Level) => `${Math.round(Number(value) * 100)} %`;

/** What the page says of each kind of channel. Apart from what it shows of them, which uses these words. */
export const KIND_WORDS: Record<ChannelInfo['kind'], KindWords> = {
  servo: {
    title: 'Servos',
    sheet: 'Servos',
    moves: true,
    lit: false,
    level: (value) => angle(Number(value)),
    figure: (value) => angle(Number(value)),
    reachedDeg: SAME_DEG,
    showsItself: 'The servo wiggles.',
    identify: 'wiggle',
    symptoms: ['dead', 'buzzing', 'wrong-way'],
    flags: {},
  },
  relay: {
    title: 'Relays',
    sheet: 'Relays',
    moves: false,
    lit: false,
    level: (value) => (value ? 'on' : 'off'),
    figure: (value) => (value ? 'on: closed' : 'off: open'),
    showsItself: 'The relay clicks: what it feeds goes on, or off, for a moment.',
    identify: 'a click',
    symptoms: ['dead', 'stays-on'],
    flags: { unknown: LOST, delayed: 'about to close' },
  },
  lamp: {
    title: 'Lamps',
    sheet: 'Lights',
    moves: false,
    lit: true,
    level: percent,
    figure: (value) => `${percent(value)} brightness`,
    showsItself: 'The lamp blinks twice.',
    identify: 'blink twice',
    symptoms: ['dead', 'dim', 'stays-on'],
    flags: { unknown: LOST, moving: 'fading' },
  },
  rgb: {
    title: 'Coloured lights',
    sheet: 'Lights',
    moves: false,
    lit: true,
    level: String,
    figure: String,
    showsItself: 'The light blinks twice.',
    identify: 'blink twice',
    symptoms: ['dead', 'dim', 'stays-on'],
    flags: { unknown: LOST, moving: 'fading' },
  },
};
