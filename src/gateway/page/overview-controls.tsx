import { useComputed, useSignal } from '@preact/signals';
import { angle } from './angle.ts';
import { command, NumberField, numberIn } from './overview-parts.tsx';
import type { ChannelProps } from './page-kind.ts';
import { isUnknown } from './standing.ts';
import { nowS, stateOf } from './store.ts';

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

/** On, off, and for how long (s). */
export function RelayControls({ channel, info }: ChannelProps) {
  const state = stateOf(channel);
  const seconds = useSignal('');
  const isOn = useComputed(() => (state.value.value ? 'true' : 'false'));
  const isOff = useComputed(() => (state.value.value ? 'false' : 'true'));
  const turn = (on: boolean) => {
    const forS = on ? numberIn(seconds) : undefined;
    void command('channel.switch', { channel, on, forS });
  };
  if (info.pulseMs !== undefined)
    return (
      <>
        <button
          type="button"
          aria-label={`Pulse, ${info.pulseMs} ms, ${channel}`}
          onClick={() => turn(true)}
        >
          Pulse, {info.pulseMs} ms
        </button>
        <Remaining channel={channel} />
      </>
    );
  return (
    <>
      <button
        type="button"
        aria-label={`${channel} on`}
        aria-pressed={isOn}
        onClick={() => turn(true)}
      >
        On
      </button>
      <button
        type="button"
        aria-label={`${channel} off`}
        aria-pressed={isOff}
        onClick={() => turn(false)}
      >
        Off
      </button>
      <NumberField label="for (s)" text={seconds} min={0} />
      <Remaining channel={channel} />
      {info.duty && (
        <p class="hint duty">
          At most {info.duty.maxOnS} s on, then {info.duty.restS} s of rest.
        </p>
      )}
    </>
  );
}

/** How long it stays on, or has to rest (s). */
function Remaining({ channel }: { channel: string }) {
  const state = stateOf(channel);
  const text = useComputed(() => {
    const { offAtS, readyAtS } = state.value;
    const leftS = (untilS: number) => Math.max(0, Math.ceil(untilS - nowS.value));
    if (offAtS !== undefined) return `on for ${leftS(offAtS)} s more`;
    return readyAtS === undefined ? '' : `rests for ${leftS(readyAtS)} s more`;
  });
  return <span class="remaining number">{text}</span>;
}
