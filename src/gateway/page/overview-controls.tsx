import { useComputed } from '@preact/signals';
import { angle } from './angle.ts';
import type { ChannelProps } from './page-kind.ts';
import { isUnknown } from './standing.ts';
import { stateOf } from './store.ts';

/** Where a servo stands between its soft limits: a block, and a thin tick for its target. */
export function TravelBar({ channel, info }: ChannelProps) {
  const [low, high] = info.limitsDeg ?? [0, 0];
  const state = stateOf(channel);
  const unknown = useComputed(() => isUnknown(state.value));
  const at = useComputed(() => style(unknown.value, state.value.value, low, high));
  const target = useComputed(() => style(unknown.value, state.value.target, low, high));
  const track = useComputed(() => (unknown.value ? 'track is-unknown' : 'track'));
  return (
    <div class="travel number" aria-hidden="true">
      <span>{angle(low)}</span>
      <div class={track}>
        <div class="to" style={target} />
        <div class="at" style={at} />
      </div>
      <span>{angle(high)}</span>
    </div>
  );
}

/** Nothing is shown of a place that nobody knows. */
function style(unknown: boolean, deg: unknown, low: number, high: number): string {
  return unknown ? 'display:none' : shift(Number(deg), low, high);
}

/** A transform moves a mark without any layout; in steps of 0.5 % of the travel. */
function shift(deg: number, low: number, high: number): string {
  const share = Math.min(Math.max((deg - low) / (high - low), 0), 1);
  return `transform:translateX(${Math.round(share * 200) / 2}%)`;
}
