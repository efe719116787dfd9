import './setup-new.css';
import { useSignalEffect } from '@preact/signals';
import type { ComponentChildren } from 'preact';
import { useEffect, useRef } from 'preact/hooks';
import { AS_TYPED } from './as-typed.ts';
import { askFirst } from './confirm.tsx';
import { linkState } from './link.ts';
import {
  addThing,
  change,
  changeThing,
  choices,
  draft,
  loadChoices,
  propose,
  proposed,
  removeThing,
  startOver,
  used,
  working,
  wrong,
} from './setup-new-data.ts';
import { type Choices, type List, type Thing, wrongText } from './setup-new-draft.ts';
import { Review } from './setup-review.tsx';
import { LoudCaution } from './sound.tsx';
import { isEmpty } from './store.ts';
import { Tick } from './tick.tsx';

/** A new prop: what is on the table, and then what is proposed for it. */
export function NewProp() {
  useSignalEffect(() => {
    if (linkState.value === 'open') void loadChoices();
  });
  const all = choices.value;
  return (
    <div class="new-prop">
      <section class="sheet">
        <h2>
          {isEmpty.value ? 'Welcome: what is on the table?' : 'A new prop: what is on the table?'}
        </h2>
        <p class="hint">
          {isEmpty.value
            ? 'This prop is empty so far. Say what it is made of; boards, pins, supplies, fuses and wires are then proposed, each with its reason.'
            : 'Say what it is made of; boards, pins, supplies, fuses and wires are then proposed, each with its reason. The prop that is in use stays as it is until you say otherwise.'}{' '}
          Nothing here moves anything.
        </p>
        {all ? <Table all={all} /> : <p role="status">Loading.</p>}
      </section>
      {proposed.value && <Review />}
    </div>
  );
}

function Table({ all }: { all: Choices }) {
  const { name, computer, lengthM, stopButton } = draft.value;
  const usual = all.usual as { computer: string; lengthM: number };
  const bounds = all.bounds as { sounds: number };
  const review = useRef(false);
  useEffect(() => {
    if (!review.current || !proposed.value) return;
    review.current = false;
    document.getElementById('review')?.focus();
  }, [proposed.value]);
  return (
    <form
      class="new-form"
      onSubmit={async (event) => {
        event.preventDefault();
        review.current = true;
        await propose();
      }}
    >
      <div class="new-fields">
        <Field label="Name of the prop">
          <input
            value={name}
            maxLength={100}
            autocomplete="off"
            onInput={(event) => change({ name: event.currentTarget.value })}
          />
        </Field>
        <Field label="Computer">
          <Options
            of={all.computers}
            value={computer || usual.computer}
            onPick={(value) => change({ computer: value })}
          />
        </Field>
        <Field label="Cable from the board to each part (m)">
          <input
            value={lengthM}
            placeholder={String(usual.lengthM)}
            inputMode="decimal"
            autocomplete="off"
            onInput={(event) => change({ lengthM: event.currentTarget.value })}
          />
        </Field>
      </div>
      <Things list="moves" title="What moves" add="Add something that moves">
        {(thing) => <Moves thing={thing} all={all} />}
      </Things>
      <Things list="lights" title="Lights" add="Add a light">
        {(thing) => <Lights thing={thing} all={all} />}
      </Things>
      <Things
        list="relays"
        title="Vapour, fans and other things that a relay switches"
        add="Add a relay"
      >
        {(thing) => <Relays thing={thing} all={all} />}
      </Things>
      <Things list="sounds" title="Sound" add="Add a loudspeaker" most={bounds.sounds}>
        {(thing) => <Sounds thing={thing} />}
      </Things>
      <Things
        list="supplies"
        title="Supplies that you have"
        add="Add a supply"
        hint="What is missing is proposed, and is on the shopping list."
      >
        {(thing) => <Supplies thing={thing} />}
      </Things>
      <Tick checked={stopButton} onTick={(checked) => change({ stopButton: checked })}>
        There is a stop button on a pin (on top of a switch that cuts the power, never in its place)
      </Tick>
      <Wrong />
      <p class="row">
        <button type="submit" class="primary" aria-disabled={working.value}>
          {proposed.value ? 'Propose again' : 'Propose the prop'}
        </button>
        <button type="button" onClick={askToStartOver}>
          Start over
        </button>
      </p>
      <p role="status" class="hint">
        {working.value
          ? 'Working it out.'
          : proposed.value && proposed.value.for !== draft.value && !used.value
            ? 'You have changed something: propose again.'
            : ''}
      </p>
    </form>
  );
}

/** What is filled in is not lost by a stray tap. */
function askToStartOver(): void {
  askFirst({
    title: 'Start over?',
    text: 'All that is filled in here is forgotten. The prop that is in use stays as it is.',
    yes: 'Forget it',
    act: startOver,
  });
}

function Wrong() {
  return (
    <div role="alert">
      {wrong.value.length > 0 && (
        <ul class="new-wrong">
          {wrong.value.map((line) => (
            <li key={line}>{wrongText(line, draft.value)}</li>
          ))}
        </ul>
      )}
    </div>
  );
}

interface ThingsProps {
  list: List;
  title: string;
  add: string;
  hint?: string;
  /** No more than so many lines. */
  most?: number;
  children: (thing: Thing) => ComponentChildren;
}

/** One list of the table, with a button for one more. */
function Things({
  list,
  title,
  add,
  hint,
  most = Number.POSITIVE_INFINITY,
  children,
}: ThingsProps) {
  const added = useRef<number | undefined>(undefined);
  const box = useRef<HTMLFieldSetElement>(null);
  const things = draft.value.things[list];
  useEffect(() => {
    if (added.current === undefined) return;
    box.current
      ?.querySelector<HTMLElement>(`[data-key="${added.current}"] :is(input, select)`)
      ?.focus();
    added.current = undefined;
  });
  return (
    <fieldset class="new-list" ref={box}>
      <legend>{title}</legend>
      {hint && <p class="hint">{hint}</p>}
      {things.map((thing) => (
        <div key={thing.key} class="new-thing" data-key={thing.key}>
          {children(thing)}
          <button
            type="button"
            class="new-remove"
            aria-label={`Remove ${thing.fields.name ?? 'the supply'}`}
            onClick={() => removeThing(list, thing.key)}
          >
            Remove
          </button>
        </div>
      ))}
      {things.length < most && (
        <button
          type="button"
          onClick={() => {
            added.current = addThing(list);
          }}
        >
          {add}
        </button>
      )}
    </fieldset>
  );
}

/** A label above what it is for, which is its only child. */
function Field({ label, children }: { label: string; children: ComponentChildren }) {
  return (
    // biome-ignore lint/a11y/noLabelWithoutControl: the control is its child
    <label class="new-field">
      <span>{label}</span>
      {children}
    </label>
  );
}

interface TextProps {
  list: List;
  thing: Thing;
  of: string;
  label: string;
  placeholder?: string;
  number?: boolean;
}

function Text({ list, thing: { key, fields }, of, label, placeholder = '', number }: TextProps) {
  return (
    <Field label={label}>
      <input
        value={fields[of] ?? ''}
        placeholder={placeholder}
        maxLength={60}
        inputMode={number ? 'decimal' : undefined}
        {...AS_TYPED}
        class={number ? 'short' : undefined}
        onInput={(event) => changeThing(list, key, { [of]: event.currentTarget.value })}
      />
    </Field>
  );
}

interface PickProps {
  list: List;
  thing: Thing;
  of: string;
  label: string;
  options: readonly { value: string; about: string }[];
  usual: unknown;
}

function Pick({ list, thing: { key, fields }, of, label, options, usual }: PickProps) {
  return (
    <Field label={label}>
      <Options
        of={options}
        value={fields[of] || String(usual)}
        onPick={(value) => changeThing(list, key, { [of]: value })}
      />
    </Field>
  );
}

interface OptionsProps {
  of: readonly { value: string; about: string }[];
  value: string;
  onPick: (value: string) => void;
}

function Options({ of, value, onPick }: OptionsProps) {
  return (
    <select value={value} onChange={(event) => onPick(event.currentTarget.value)}>
      {of.map((one) => (
        <option key={one.value} value={one.value}>
          {one.about ? `${one.value}: ${one.about}` : one.value}
        </option>
      ))}
    </select>
  );
}

/** What few people need to touch. */
function More({ children }: { children: ComponentChildren }) {
  return (
    <details class="new-more">
      <summary>More about it</summary>
      <div class="new-fields">{children}</div>
    </details>
  );
}

/** Where a thing sits, and the cable to it. */
function Where({ list, thing }: { list: List; thing: Thing }) {
  return (
    <>
      <Text
        list={list}
        thing={thing}
        of="lengthM"
        label="Its own cable (m)"
        placeholder="as above"
        number
      />
      <Text
        list={list}
        thing={thing}
        of="place"
        label="Place in the prop"
        placeholder="such as left wing"
      />
      <p class="hint">Wires to one place run together as a bundle.</p>
    </>
  );
}

type Row = { thing: Thing; all: Choices };

function Moves({ thing, all }: Row) {
  const usual = all.usual as Record<string, unknown>;
  const list = 'moves';
  return (
    <>
      <Text list={list} thing={thing} of="name" label="Name" />
      <Text list={list} thing={thing} of="count" label="How many" number />
      <Pick
        list={list}
        thing={thing}
        of="part"
        label="Servo"
        options={all.servos}
        usual={usual.servo}
      />
      <More>
        <Text
          {...{ list, thing }}
          of="travelDeg"
          label="How far it moves, end to end (deg)"
          placeholder={String(usual.travelDeg)}
          number
        />
        <Pick
          {...{ list, thing }}
          of="rests"
          label="It rests"
          options={RESTS}
          usual={usual.rests}
        />
        <Where list={list} thing={thing} />
      </More>
    </>
  );
}

const RESTS = [
  { value: 'end', about: 'at one end, such as a lid that is shut' },
  { value: 'middle', about: 'in the middle, such as a head' },
];

function Lights({ thing, all }: Row) {
  const usual = all.usual as Record<string, unknown>;
  const list = 'lights';
  const rgb = thing.fields.kind !== 'lamp';
  return (
    <>
      <Text list={list} thing={thing} of="name" label="Name" />
      <Text list={list} thing={thing} of="count" label="How many" number />
      <Field label="Colours">
        <Options
          of={COLOURS}
          value={thing.fields.kind ?? 'rgb'}
          // A part is for one of the two.
          onPick={(kind) => changeThing(list, thing.key, { kind, part: '' })}
        />
      </Field>
      <More>
        <Pick
          {...{ list, thing }}
          of="part"
          label="Light"
          options={rgb ? all.rgb : all.lamps}
          usual={rgb ? usual.rgb : usual.lamp}
        />
        <Pick
          {...{ list, thing }}
          of="wired"
          label="Between pin and light"
          options={all.wired}
          usual={usual.wired}
        />
        <Where list={list} thing={thing} />
      </More>
    </>
  );
}

const COLOURS = [
  { value: 'rgb', about: 'red, green and blue' },
  { value: 'lamp', about: 'one colour, dimmed' },
];

function Relays({ thing, all }: Row) {
  const usual = all.usual as Record<string, unknown>;
  const list = 'relays';
  const { load } = thing.fields;
  const rated = all.loads.find(({ value }) => value === load)?.rated !== false;
  return (
    <>
      <p class="caution">Never mains: hobby relays do not switch it safely.</p>
      <Text list={list} thing={thing} of="name" label="Name" />
      <Text list={list} thing={thing} of="count" label="How many" number />
      <Pick
        list={list}
        thing={thing}
        of="load"
        label="It switches"
        options={all.loads}
        usual="vapour"
      />
      {!rated && (
        <>
          <Text list={list} thing={thing} of="volts" label="Its voltage (V)" number />
          <Text list={list} thing={thing} of="amps" label="Its current (A)" number />
        </>
      )}
      {load === 'vapour' && (
        <Text list={list} thing={thing} of="tankMl" label="Water that it may use (ml)" number />
      )}
      <More>
        <Pick
          {...{ list, thing }}
          of="closesOn"
          label="The relay closes on"
          options={LEVELS}
          usual={usual.closesOn}
        />
        <Where list={list} thing={thing} />
      </More>
    </>
  );
}

const LEVELS = [
  { value: 'low', about: 'as most modules do' },
  { value: 'high', about: 'a high level' },
];

function Sounds({ thing }: { thing: Thing }) {
  const list = 'sounds';
  return (
    <>
      <LoudCaution />
      <Text list={list} thing={thing} of="name" label="Name" />
      <p class="hint">It is on the sound card of the computer, with a low ceiling to begin with.</p>
    </>
  );
}

function Supplies({ thing }: { thing: Thing }) {
  const list = 'supplies';
  return (
    <>
      <Text list={list} thing={thing} of="volts" label="Voltage (V)" number />
      <Text list={list} thing={thing} of="amps" label="Current that it can give (A)" number />
      <Pick list={list} thing={thing} of="source" label="Source" options={SOURCES} usual="mains" />
      {thing.fields.source === 'battery' && (
        <>
          <Text list={list} thing={thing} of="capacityAh" label="Capacity (Ah)" number />
          <p class="caution">
            Fuse the pack at its terminal; never charge lithium cells unattended or inside the prop.
          </p>
        </>
      )}
    </>
  );
}

const SOURCES = [
  { value: 'mains', about: 'a closed supply with approval marks' },
  { value: 'battery', about: 'a pack' },
];
