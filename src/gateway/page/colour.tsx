import './colour.css';
import { useComputed, useSignal, useSignalEffect } from '@preact/signals';
import { converter, formatHex, modeHsv, modeRgb, parseHex, useMode } from 'culori/fn';
import { useRef, useState } from 'preact/hooks';
import { hexOr, Slider } from './overview-light.tsx';
import { CommandSet, NumberField, numberIn } from './overview-parts.tsx';
import { Sender } from './overview-sender.ts';
import type { ChannelProps } from './page-kind.ts';
import { keepRecent, PRESETS, recent } from './recent-colours.ts';
import { ask, stateOf } from './store.ts';

// The spaces between hex and hue, saturation and brightness.
useMode(modeRgb);
useMode(modeHsv);
const toHsv = converter('hsv');

/** Hue (deg), saturation and brightness (%): what the sliders show, with their ends. */
const SLIDERS = [
  ['Hue (°)', 360],
  ['Saturation (%)', 100],
  ['Brightness (%)', 100],
] as const;
const PARTS = ['Red', 'Green', 'Blue'] as const;

/** The one control of a coloured light: presets, recent colours, sliders, parts, and a name or hex. */
export function ColourControl({ channel }: ChannelProps) {
  return (
    <details class="colour-fold wide">
      <summary>
        Colour<span class="unseen"> of {channel}</span>
      </summary>
      <Choice channel={channel} />
    </details>
  );
}

/** The same where it stands alone. */
export function ColourBench({ channel }: ChannelProps) {
  return (
    <CommandSet class="bare" label={`Colour of ${channel}`}>
      <Choice channel={channel} />
    </CommandSet>
  );
}

function Choice({ channel }: { channel: string }) {
  const state = stateOf(channel);
  const fade = useSignal('');
  const target = useComputed(() => hexOr(state.value.target, '#000000'));
  /** @param keep it was chosen, and not only passed on the way of a slider */
  const set = async (to: string, keep: boolean) => {
    const result = await ask('channel.colour', { channel, to, fadeS: numberIn(fade) });
    if (result && keep) keepRecent(result.to);
  };
  return (
    <div class="colour-pick">
      <ColourParts channel={channel} target={target} set={set} />
      <NumberField label="fade (s)" text={fade} min={0} />
    </div>
  );
}

/** Every way to name a colour, for a light that has it now or shall have it. */
export function ColourParts(part: PartProps) {
  const { channel } = part;
  return (
    <>
      <Chips {...part} label="Presets" colours={Object.entries(PRESETS)} />
      {recent.value.length > 0 && (
        <Chips
          {...part}
          label="Recent colours"
          colours={recent.value.map((hex): [string, string] => [hex, hex])}
        />
      )}
      <Sliders {...part} />
      <Parts {...part} />
      <Written channel={channel} set={part.set} />
    </>
  );
}

interface PartProps {
  channel: string;
  target: { readonly value: string };
  set: (to: string, keep: boolean) => Promise<void>;
}

interface ChipsProps extends PartProps {
  label: string;
  colours: readonly (readonly [name: string, hex: string])[];
}

function Chips({ channel, target, set, label, colours }: ChipsProps) {
  return (
    <ul class="colour-list" aria-label={`${label} for ${channel}`}>
      {colours.map(([name, hex]) => (
        <li key={name}>
          <button
            type="button"
            class="colour-chip"
            aria-label={`${name}: ${channel}`}
            aria-pressed={target.value === hex}
            onClick={() => set(name, true)}
          >
            <span class="colour-swatch" aria-hidden="true" style={`background:${hex}`} />
            <span class="colour-name">{name}</span>
          </button>
        </li>
      ))}
    </ul>
  );
}

function Sliders({ channel, target, set }: PartProps) {
  const inputs = useRef<(HTMLInputElement | null)[]>([]);
  const [sender] = useState(() => new Sender((hex: string) => set(hex, false)));
  const mixed = () => {
    const [h = 0, s = 0, v = 0] = inputs.current.map((input) => input?.valueAsNumber ?? 0);
    return formatHex({ mode: 'hsv', h, s: s / 100, v: v / 100 });
  };
  // They follow a colour that came from elsewhere; a grey keeps the hue, and black the saturation too.
  useSignalEffect(() => {
    const hex = target.value;
    if (sender.busy.value || hex === mixed()) return;
    const colour = toHsv(parseHex(hex));
    const [hue, saturation, brightness] = inputs.current;
    if (!colour || !hue || !saturation || !brightness) return;
    if (colour.v > 0 && colour.s > 0) hue.valueAsNumber = colour.h ?? 0;
    if (colour.v > 0) saturation.valueAsNumber = colour.s * 100;
    brightness.valueAsNumber = colour.v * 100;
  });
  return (
    <div class="colour-sliders">
      {SLIDERS.map(([label, max], at) => (
        <Slider
          key={label}
          label={label}
          of={channel}
          max={max}
          input={(input) => {
            inputs.current[at] = input;
          }}
          onSlide={() => sender.push(mixed())}
          onChosen={() => void set(mixed(), true)}
        />
      ))}
    </div>
  );
}

function Parts({ channel, target, set }: PartProps) {
  const inputs = useRef<(HTMLInputElement | null)[]>([]);
  useSignalEffect(() => {
    const bytes = bytesOf(target.value);
    for (const [at, input] of inputs.current.entries())
      if (input && document.activeElement !== input) input.valueAsNumber = bytes[at] ?? 0;
  });
  const change = () => {
    const bytes = inputs.current.map((input) => input?.valueAsNumber ?? 0);
    if (bytes.some((byte) => !(byte >= 0 && byte <= 255))) return;
    void set(
      `#${bytes.map((byte) => Math.round(byte).toString(16).padStart(2, '0')).join('')}`,
      true,
    );
  };
  return (
    <div class="row">
      {PARTS.map((label, at) => (
        <label key={label} class="field">
          {label}{' '}
          <input
            type="number"
            inputMode="numeric"
            aria-label={`${label} of ${channel}, 0 to 255`}
            min={0}
            max={255}
            step={1}
            ref={(input) => {
              inputs.current[at] = input;
            }}
            onChange={change}
          />
        </label>
      ))}
    </div>
  );
}

function Written({ channel, set }: Omit<PartProps, 'target'>) {
  return (
    <form
      class="row"
      onSubmit={(event) => {
        event.preventDefault();
        void set(String(new FormData(event.currentTarget).get('to')).trim(), true);
      }}
    >
      <label class="colour-written">
        Name or hex{' '}
        <input
          type="text"
          name="to"
          aria-label={`Name or hex of a colour for ${channel}`}
          placeholder="orange or #ffaa00"
          autocomplete="off"
          autocapitalize="off"
          spellcheck={false}
          maxLength={100}
          required
        />
      </label>
      <button type="submit" aria-label={`Set the colour of ${channel}`}>
        Set
      </button>
    </form>
  );
}

function bytesOf(hex: string): number[] {
  return [1, 3, 5].map((at) => Number.parseInt(hex.slice(at, at + 2), 16));
}
