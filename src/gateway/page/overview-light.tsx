import { useComputed, useSignal, useSignalEffect } from '@preact/signals';
import type { Ref } from 'preact';
import { useRef, useState } from 'preact/hooks';
import type { ChannelState } from '../../api/types.ts';
import { NumberField, numberIn } from './overview-parts.tsx';
import { Sender } from './overview-sender.ts';
import { ask, stateOf } from './store.ts';

/** The seizure warning, for a prop that has lights. */
export function FlashCaution() {
  return (
    <p class="caution">
      Flashing light can cause seizures. Sinew holds all light of the prop together to three flashes
      a second, unless the prop file lifts that. Put up a notice where people will see it flash, and
      follow the local rules.
    </p>
  );
}

/** A patch of the colour that an rgb channel shows now. */
export function Swatch({ channel }: { channel: string }) {
  const state = stateOf(channel);
  const style = useComputed(() => `background:${hexOr(state.value.value, 'none')}`);
  return <span class="swatch" aria-hidden="true" style={style} />;
}

/** The lightness slider of a lamp (%), and its fade (s). */
export function LampControls({ channel }: { channel: string }) {
  const state = stateOf(channel);
  const fade = useSignal('');
  const range = useRef<HTMLInputElement>(null);
  const [sender] = useState(
    () =>
      new Sender((percent: number) =>
        ask('channel.dim', { channel, to: percent / 100, fadeS: numberIn(fade) }),
      ),
  );
  const target = useComputed(() => Math.round(Number(state.value.target) * 100));
  useSignalEffect(() => {
    if (!sender.busy.value && range.current) range.current.valueAsNumber = target.value;
  });
  return (
    <>
      <Slider
        label="Brightness (%)"
        of={channel}
        max={100}
        input={range}
        onSlide={(percent) => sender.push(percent)}
      />
      <NumberField label="fade (s)" text={fade} min={0} />
    </>
  );
}

/** One slider of a light. */
export function Slider(props: {
  label: string;
  of: string;
  max: number;
  input: Ref<HTMLInputElement>;
  onSlide: (value: number) => void;
  /** It was let go. */
  onChosen?: () => void;
}) {
  return (
    <label class="slider">
      {props.label}
      <input
        type="range"
        aria-label={`${props.label} of ${props.of}`}
        min={0}
        max={props.max}
        defaultValue={0}
        step={1}
        ref={props.input}
        onInput={(event) => props.onSlide(event.currentTarget.valueAsNumber)}
        onChange={props.onChosen}
      />
    </label>
  );
}

/** Before the first frame of a channel, or where it is not known, its level is not a colour yet. */
export function hexOr(level: ChannelState['value'], otherwise: string): string {
  return typeof level === 'string' ? level : otherwise;
}
