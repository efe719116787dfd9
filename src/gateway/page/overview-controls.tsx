import { type ReadonlySignal, useComputed } from '@preact/signals';
import type { ChannelState } from '../../api/types.ts';
import { angle } from './angle.ts';
import type { ChannelProps } from './page-kind.ts';
import { isUnknown, parkValue } from './standing.ts';
import { stateOf } from './store.ts';

/** A servo's soft limits, and where it stands between them. */
export function TravelBar({ channel, info }: ChannelProps) {
  const [low, high] = info.limitsDeg ?? [0, 0];
  return (
    <div class="travel number" aria-hidden="true">
      <span>{angle(low)}</span>
      <Track info={info} state={stateOf(channel)} />
      <span>{angle(high)}</span>
    </div>
  );
}

/** Where a servo stands between its soft limits: a block, a thin tick for its target, perhaps a notch for park. */
export function Track(props: {
  info: ChannelProps['info'];
  state: ReadonlySignal<ChannelState>;
  showsPark?: boolean;
}) {
  const { info, state, showsPark = false } = props;
  const [low, high] = info.limitsDeg ?? [0, 0];
  const home = showsPark ? parkValue(info) : undefined;
  const unknown = useComputed(() => isUnknown(state.value));
  // Nothing is shown of a place that nobody knows.
  const style = (deg: unknown) => (unknown.value ? 'display:none' : shift(Number(deg), low, high));
  const at = useComputed(() => style(state.value.value));
  const target = useComputed(() => style(state.value.target));
  const track = useComputed(() => (unknown.value ? 'track is-unknown' : 'track'));
  return (
    <span class={track} aria-hidden="true">
      {home !== undefined && <span class="home" style={shift(Number(home), low, high)} />}
      <span class="to" style={target} />
      <span class="at" style={at} />
    </span>
  );
}

/** A transform moves a mark without any layout; in steps of 0.5 % of the travel. */
function shift(deg: number, low: number, high: number): string {
  const share = Math.min(Math.max((deg - low) / (high - low), 0), 1);
  return `transform:translateX(${Math.round(share * 200) / 2}%)`;
}
