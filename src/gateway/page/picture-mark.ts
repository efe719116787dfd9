import type { ChannelInfo, ChannelState } from '../../api/types.ts';
import type { FlagName } from '../../shared/telemetry.ts';
import { KIND_WORDS } from './kind-words.ts';
import { isUnknown } from './standing.ts';

/** What a mark on the picture shows of a channel. */
interface Shown {
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

/** @param refused the last thing that was asked of it was refused */
export function shownOf({ kind }: ChannelInfo, state: ChannelState, refused: boolean): Shown {
  const { mark } = KIND_WORDS[kind];
  const has = (flag: FlagName) => state.flags.includes(flag);
  const lost = isUnknown(state);
  const value = lost ? undefined : state.value!;
  const isHeld = refused || HELD.some(has);
  const moves = has('moving');
  const limp = has('released') && !lost;
  const light = value === undefined ? undefined : mark.light?.(value);
  const isOn = value !== undefined && mark.isOn?.(value) === true;
  const looks = [
    `is-${kind}`,
    moves && 'is-moving',
    light !== undefined && 'is-lit',
    isOn && 'is-on',
    limp && 'is-limp',
    lost && 'is-lost',
    isHeld && 'is-refused',
  ];
  const words = [
    isHeld && 'refused',
    lost && 'unknown',
    moves && mark.changes,
    limp && 'limp',
    value !== undefined && mark.words(value),
  ].filter(Boolean);
  return {
    look: looks.filter(Boolean).join(' '),
    sign: isHeld ? '!' : lost ? '?' : isOn ? 'on' : '',
    words: words.length > 0 ? words.join(', ') : 'stands still',
    light,
  };
}
