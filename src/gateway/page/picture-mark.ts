import type { ChannelInfo, ChannelState } from '../../api/types.ts';
import type { FlagName } from '../../shared/telemetry.ts';
import { isUnknown } from './standing.ts';

/** What a channel does, as far as a mark on the picture tells it. */
export interface Shown {
  /** Classes of the mark. */
  look: string;
  /** A sign in the mark, so that colour is never the only one. */
  sign: '' | '!' | '?' | 'on';
  /** The same in words. */
  words: string;
  /** What a light shows now (CSS colour). */
  light: string | undefined;
}

/** What keeps a channel from doing what it is asked for. */
const HELD: readonly FlagName[] = ['interlocked', 'resting', 'flashHeld'];
const DARK = '#000000';
/** A lamp at full brightness: warm white. */
const LAMP = '#ffdf9e';

/** @param refused the last thing that was asked of it was refused */
export function shownOf(info: ChannelInfo, state: ChannelState, refused: boolean): Shown {
  const { flags } = state;
  const has = (flag: FlagName) => flags.includes(flag);
  const lost = isUnknown(state);
  const isHeld = refused || HELD.some(has);
  const moves = has('moving');
  const limp = has('released') && !lost;
  const light = lost ? undefined : lightOf(info, state);
  const closed = info.kind === 'relay' && state.value === true && !lost;
  const looks = [
    `is-${info.kind}`,
    moves && 'is-moving',
    light !== undefined && 'is-lit',
    closed && 'is-on',
    limp && 'is-limp',
    lost && 'is-lost',
    isHeld && 'is-refused',
  ];
  const words = [
    isHeld && 'refused',
    lost && 'unknown',
    moves && (info.kind === 'servo' ? 'moves' : 'fades'),
    limp && 'limp',
    light !== undefined && 'lit',
    info.kind === 'relay' && !lost && (closed ? 'on' : 'off'),
  ].filter(Boolean);
  return {
    look: looks.filter(Boolean).join(' '),
    sign: isHeld ? '!' : lost ? '?' : closed ? 'on' : '',
    words: words.length > 0 ? words.join(', ') : info.kind === 'servo' ? 'stands still' : 'dark',
    light,
  };
}

function lightOf({ kind }: ChannelInfo, { value }: ChannelState): string | undefined {
  if (kind === 'rgb') return typeof value === 'string' && value !== DARK ? value : undefined;
  if (kind !== 'lamp' || !(Number(value) > 0)) return undefined;
  // Steps of a tenth: a fade need not be drawn with every state.
  const share = Math.max(0.1, Math.round(Number(value) * 10) / 10);
  return `color-mix(in oklch, ${LAMP} ${share * 100}%, #3a3226)`;
}
