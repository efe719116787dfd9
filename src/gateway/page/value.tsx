import { useComputed } from '@preact/signals';
import type { ChannelInfo, ChannelState } from '../../api/types.ts';
import type { FlagName } from '../../shared/telemetry.ts';
import { KIND_WORDS } from './kind-words.ts';
import { FLAG_WORDS, isUnknown } from './standing.ts';
import { stateOf } from './store.ts';

/** Flags as one line of words; a lamp or rgb channel that is `moving` fades. */
export function flagWords(flags: readonly string[], kind: ChannelInfo['kind']): string {
  const own = KIND_WORDS[kind].flags;
  return flags
    .map((flag) => own[flag as FlagName] ?? FLAG_WORDS[flag as FlagName] ?? flag)
    .join(', ');
}

/** Value and, where it differs, target: `12.3° → 30.0°`, `on`, `40 %`, `#ffaa00`. */
export function valueText(state: ChannelState, kind: ChannelInfo['kind']): string {
  if (isUnknown(state)) return 'unknown';
  const { target } = state;
  const value = state.value!;
  const { level, reachedDeg } = KIND_WORDS[kind];
  const reached =
    reachedDeg === undefined
      ? value === target
      : Math.abs(Number(value) - Number(target)) < reachedDeg;
  return reached ? level(value) : `${level(value)} → ${level(target)}`;
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
