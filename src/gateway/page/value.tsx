import { useComputed } from '@preact/signals';
import type { ChannelInfo, ChannelState } from '../../api/types.ts';
import type { FlagName } from '../../shared/telemetry.ts';
import { stateOf } from './store.ts';

/** The flags of a channel in a maker's words. */
export const FLAG_WORDS: Record<FlagName, string> = {
  moving: 'moving',
  released: 'released',
  unknown: 'position unknown',
  beyond: 'beyond its limits',
  pushing: 'pushing',
  interlocked: 'held by an interlock',
  resting: 'duty rest',
  delayed: 'waiting for the rail',
  flashHeld: 'held back: too many flashes',
};

/** Targets nearer than this (deg) to the position are reached. */
const REACHED_DEG = 0.05;

/** An angle (deg) for people, with a true minus sign. */
export function angle(deg: number): string {
  const text = deg.toFixed(1);
  return `${text === '-0.0' ? '0.0' : text.replace('-', '−')}°`;
}

/** Flags as one line of words; a lamp or rgb channel that is `moving` fades. */
export function flagWords(flags: readonly string[], kind: ChannelInfo['kind']): string {
  const lit = kind === 'rgb' || kind === 'lamp';
  return flags
    .map((flag) => {
      if (flag === 'moving' && lit) return 'fading';
      if (flag === 'unknown' && kind !== 'servo')
        return 'its board cannot be reached: it may be on';
      if (flag === 'delayed' && kind === 'relay') return 'about to close';
      return FLAG_WORDS[flag as FlagName] ?? flag;
    })
    .join(', ');
}

/** Value and, where it differs, target: `12.3° → 30.0°`, `on`, `40 %`, `#ffaa00`. */
export function valueText({ value, target }: ChannelState, kind: ChannelInfo['kind']): string {
  if (value === null) return 'unknown';
  const now = levelText(value, kind);
  const reached =
    kind === 'servo' ? Math.abs(Number(value) - Number(target)) < REACHED_DEG : value === target;
  return reached ? now : `${now} → ${levelText(target, kind)}`;
}

function levelText(level: ChannelState['value'], kind: ChannelInfo['kind']): string {
  switch (kind) {
    case 'servo':
      return angle(Number(level));
    case 'relay':
      return level ? 'on' : 'off';
    case 'lamp':
      return `${Math.round(Number(level) * 100)} %`;
    case 'rgb':
      return String(level);
  }
}

interface ChannelProps {
  name: string;
  kind: ChannelInfo['kind'];
}

/** The live value of a channel as text; only the text changes. */
export function Value({ name, kind }: ChannelProps) {
  const state = stateOf(name);
  const text = useComputed(() => valueText(state.value, kind));
  return <span class={`value number is-${kind}`}>{text}</span>;
}

/** The live flags of a channel in words. */
export function Flags({ name, kind }: ChannelProps) {
  const state = stateOf(name);
  const text = useComputed(() => flagWords(state.value.flags, kind));
  return <span class="flags">{text}</span>;
}
