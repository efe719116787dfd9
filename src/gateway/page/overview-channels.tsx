import { useComputed, useSignal } from '@preact/signals';
import type { ComponentChildren } from 'preact';
import type { ChannelInfo } from '../../api/types.ts';
import { angle } from './angle.ts';
import { LampControls, RgbControls, Swatch } from './overview-light.tsx';
import { command, NumberField, numberIn } from './overview-parts.tsx';
import { stateOf } from './store.ts';
import { Flags, Value } from './value.tsx';

interface ChannelProps {
  name: string;
  info: ChannelInfo;
}

/** The channels as cards, each with the controls of its kind. */
export function ChannelList({ list }: { list: [string, ChannelInfo][] }) {
  return (
    <ul class="channels">
      {list.map(([name, info]) => (
        <Channel key={name} name={name} info={info}>
          {info.kind === 'servo' && <TravelBar name={name} info={info} />}
          {info.kind === 'relay' && <RelayControls name={name} info={info} />}
          {info.kind === 'lamp' && <LampControls name={name} />}
          {info.kind === 'rgb' && <RgbControls name={name} />}
        </Channel>
      ))}
    </ul>
  );
}

function Channel({ name, info, children }: ChannelProps & { children: ComponentChildren }) {
  return (
    <li>
      <div class="line">
        <div class="title">
          <a class="name" href={`#bench/${name}`}>
            {name}
          </a>
          <Flags name={name} kind={info.kind} />
        </div>
        <button
          type="button"
          aria-label={`Identify ${name}`}
          onClick={() => command('channel.identify', { channel: name })}
        >
          Identify
        </button>
      </div>
      <div class="row">
        {info.kind === 'rgb' && <Swatch name={name} />}
        <Value name={name} kind={info.kind} />
        {children}
      </div>
    </li>
  );
}

/** Where a servo stands between its soft limits: a block, and a thin tick for its target. */
function TravelBar({ name, info }: ChannelProps) {
  const [low, high] = info.limitsDeg ?? [0, 0];
  const state = stateOf(name);
  const at = useComputed(() => shift(Number(state.value.value), low, high));
  const target = useComputed(() => shift(Number(state.value.target), low, high));
  return (
    <div class="travel number" aria-hidden="true">
      <span>{angle(low)}</span>
      <div class="track">
        <div class="to" style={target} />
        <div class="at" style={at} />
      </div>
      <span>{angle(high)}</span>
    </div>
  );
}

/** A transform moves a mark without any layout; in steps of 0.5 % of the travel. */
function shift(deg: number, low: number, high: number): string {
  const share = Math.min(Math.max((deg - low) / (high - low), 0), 1);
  return `transform:translateX(${Math.round(share * 200) / 2}%)`;
}

function RelayControls({ name, info }: ChannelProps) {
  const state = stateOf(name);
  const seconds = useSignal('');
  const isOn = useComputed(() => (state.value.value ? 'true' : 'false'));
  const isOff = useComputed(() => (state.value.value ? 'false' : 'true'));
  const turn = (on: boolean) => {
    const forS = on ? numberIn(seconds) : undefined;
    void command('channel.switch', { channel: name, on, forS });
  };
  return (
    <>
      <button
        type="button"
        aria-label={`${name} on`}
        aria-pressed={isOn}
        onClick={() => turn(true)}
      >
        On
      </button>
      <button
        type="button"
        aria-label={`${name} off`}
        aria-pressed={isOff}
        onClick={() => turn(false)}
      >
        Off
      </button>
      <NumberField label="for (s)" text={seconds} min={0} />
      {info.duty && (
        <p class="hint duty">
          At most {info.duty.maxOnS} s on, then {info.duty.restS} s of rest.
        </p>
      )}
    </>
  );
}
