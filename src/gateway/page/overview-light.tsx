import { useComputed, useSignal, useSignalEffect } from '@preact/signals';
import { converter, modeLrgb, modeOklab, modeOklch, modeRgb, parseHex, useMode } from 'culori/fn';
import { useRef, useState } from 'preact/hooks';
import type { ChannelState } from '../../api/types.ts';
import { NumberField, numberIn } from './overview-parts.tsx';
import { Sender } from './overview-sender.ts';
import { ask, stateOf } from './store.ts';

// The spaces on the way from hex to OKLCH.
useMode(modeRgb);
useMode(modeLrgb);
useMode(modeOklab);
useMode(modeOklch);
const toOklch = converter('oklch');

/** Chroma below which a colour is grey and has no hue. */
const GREY_CHROMA = 0.002;
/** Chroma lost on the way to the light that is worth a word. */
const CHROMA_LOST = 0.005;

/** The seizure warning, for a prop that has lights. */
export function FlashCaution() {
  return (
    <p class="caution">
      Flashing light can bring on seizures. Sinew holds all light of the prop together to three
      flashes a second, unless the prop file lifts that. Put up a notice where people will see it
      flash, and follow the local rules.
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
        label="Lightness (%)"
        of={channel}
        max={100}
        step={1}
        input={range}
        onSlide={(percent) => sender.push(percent)}
      />
      <NumberField label="fade (s)" text={fade} min={0} />
    </>
  );
}

function Slider(props: {
  label: string;
  of: string;
  max: number;
  step: number;
  input: { current: HTMLInputElement | null };
  onSlide: (value: number) => void;
}) {
  return (
    <label class="slider">
      {props.label}
      <input
        type="range"
        aria-label={`${props.label} of ${props.of}`}
        min={0}
        max={props.max}
        step={props.step}
        ref={props.input}
        onInput={(event) => props.onSlide(event.currentTarget.valueAsNumber)}
      />
    </label>
  );
}

/** Three ways to the same colour: the browser's picker, any CSS colour as text, and OKLCH sliders. */
export function RgbControls({ channel }: { channel: string }) {
  const state = stateOf(channel);
  const fade = useSignal('');
  const text = useSignal('');
  /** The daemon's answer to the last mix, and whether it had to weaken the colour. */
  const answer = useSignal('');
  const weakened = useSignal(false);
  const picker = useRef<HTMLInputElement>(null);
  const lightness = useRef<HTMLInputElement>(null);
  const chroma = useRef<HTMLInputElement>(null);
  const hue = useRef<HTMLInputElement>(null);

  const set = (to: string) => ask('channel.colour', { channel, to, fadeS: numberIn(fade) });
  const [picked] = useState(() => new Sender(set));
  const [mixed] = useState(
    () =>
      new Sender(async (mix: { css: string; chroma: number }) => {
        const result = await set(mix.css);
        if (!result) return;
        answer.value = result.to;
        weakened.value = mix.chroma - chromaOf(result.to) > CHROMA_LOST;
      }),
  );
  const target = useComputed(() => hexOr(state.value.target, '#000000'));

  useSignalEffect(() => {
    if (!picked.busy.value && picker.current) picker.current.value = target.value;
  });
  // The sliders keep what the hand asked for, and follow a colour that came from elsewhere.
  useSignalEffect(() => {
    if (mixed.busy.value || target.value === answer.peek()) return;
    const colour = toOklch(parseHex(target.value));
    if (!colour || !lightness.current || !chroma.current || !hue.current) return;
    answer.value = '';
    lightness.current.valueAsNumber = colour.l * 100;
    chroma.current.valueAsNumber = colour.c;
    if (colour.c > GREY_CHROMA) hue.current.valueAsNumber = colour.h ?? 0;
  });
  const mix = () => {
    const [l, c, h] = [lightness, chroma, hue].map((input) => input.current?.valueAsNumber ?? 0);
    mixed.push({ css: `oklch(${l}% ${c} ${h})`, chroma: c ?? 0 });
  };

  return (
    <>
      <form
        class="row wide"
        onSubmit={(event) => {
          event.preventDefault();
          void set(text.value);
        }}
      >
        <input
          type="color"
          aria-label={`Pick a colour for ${channel}`}
          ref={picker}
          onInput={(event) => picked.push(event.currentTarget.value)}
        />
        <input
          type="text"
          class="css-colour"
          aria-label={`CSS colour for ${channel}`}
          placeholder="oklch(75% 0.15 80)"
          autocomplete="off"
          spellcheck={false}
          maxLength={100}
          required
          value={text}
          onInput={(event) => {
            text.value = event.currentTarget.value;
          }}
        />
        <button type="submit" aria-label={`Set the colour of ${channel}`}>
          Set
        </button>
        <NumberField label="fade (s)" text={fade} min={0} />
      </form>
      <details class="wide">
        <summary>
          Mix by eye<span class="unseen"> the colour of {channel}</span>
        </summary>
        <Slider
          label="Lightness (%)"
          of={channel}
          max={100}
          step={0.5}
          input={lightness}
          onSlide={mix}
        />
        <Slider label="Chroma" of={channel} max={0.37} step={0.005} input={chroma} onSlide={mix} />
        <Slider label="Hue (deg)" of={channel} max={360} step={1} input={hue} onSlide={mix} />
        <p class="hint number">
          <Answer answer={answer} weakened={weakened} />
        </p>
      </details>
    </>
  );
}

function Answer(props: { answer: { value: string }; weakened: { value: boolean } }) {
  const { value } = props.answer;
  if (!value) return 'Lightness, chroma and hue as the eye sees them (OKLCH).';
  return `Shown as ${value}${
    props.weakened.value ? ': the light has no stronger colour of this hue and lightness' : ''
  }.`;
}

/** Before the first frame of a channel its level is not a colour yet. */
function hexOr(level: ChannelState['value'], otherwise: string): string {
  return typeof level === 'string' ? level : otherwise;
}

function chromaOf(hex: string): number {
  return toOklch(parseHex(hex))?.c ?? 0;
}
