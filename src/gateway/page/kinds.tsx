import type { ChannelInfo } from '../../api/types.ts';
import { angle } from './angle.ts';
import { Dimmer } from './bench-others.tsx';
import { ServoView } from './bench-servo.tsx';
import { ColourBench, ColourControl } from './colour.tsx';
import { TravelBar } from './overview-controls.tsx';
import { LampControls, Swatch } from './overview-light.tsx';
import { SERVO_ROW } from './overview-servo-row.tsx';
import type { Level, PageKind } from './page-kind.ts';
import { RelayBench, RelayControls } from './relay.tsx';
import { SAME_DEG } from './standing.ts';

const LOST = 'its board cannot be reached: it may be on';
const percent = (value: Level) => `${Math.round(Number(value) * 100)} %`;

/** Every kind of channel, in the order in which they are listed. To add one touches no other file of the page. */
export const KINDS: Record<ChannelInfo['kind'], PageKind> = {
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
    Controls: TravelBar,
    row: SERVO_ROW,
    bench: { View: ServoView },
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
    Controls: RelayControls,
    bench: { Control: RelayBench },
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
    Controls: LampControls,
    bench: { Control: Dimmer },
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
    Swatch,
    Controls: ColourControl,
    bench: { Control: ColourBench },
  },
};
