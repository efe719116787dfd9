import { batch, signal } from '@preact/signals';
import { Select } from './select.tsx';
import { busy, type Change, file, plan, said, section } from './setup-parts-data.ts';
import { typedPins, typedWords, WRONG_PINS } from './setup-parts-field.tsx';
import { Line, PartForm } from './setup-parts-form.tsx';
import {
  type AddField,
  isSense,
  SENSE_WORDS,
  senseChange,
  senseFields,
  type Values,
  withValue,
} from './setup-sense-form.ts';
import { LoudCaution } from './sound.tsx';
import { typedNumber } from './typed-number.ts';

const WHAT = {
  servo: 'a servo',
  relay: 'a relay',
  rgb: 'a light with colours',
  lamp: 'a dimmed light',
  sound: 'a loudspeaker',
  rail: 'a rail',
  board: 'a board on the I2C bus',
  ...SENSE_WORDS,
  group: 'a group',
  pose: 'a pose',
  wire: 'a wire',
} as const;

const what = signal<keyof typeof WHAT | ''>('');
const values = signal<Values>({});

/** Fills in the form, and brings it into view. */
export function fillIn(kind: keyof typeof WHAT, filled: Values): void {
  batch(() => {
    what.value = kind;
    values.value = filled;
  });
  requestAnimationFrame(() => {
    const form = document.getElementById('add-part');
    form?.scrollIntoView({ block: 'start' });
    form?.querySelector('input')?.focus({ preventScroll: true });
  });
}

/** Adds a part; what is not said is proposed, and shown with its reasons first. */
export function AddPart() {
  const kind = what.value;
  const isChannel = ['servo', 'relay', 'rgb', 'lamp'].includes(kind);
  const fields = isSense(kind)
    ? senseFields(kind, file.value!, values.value)
    : fieldsOf(kind, isChannel, values.value);
  const go = () => {
    const change = isSense(kind)
      ? senseChange(kind, file.value!, values.value)
      : changeOf(kind, values.value);
    if (typeof change === 'string') said.value = change;
    else {
      const name = 'name' in change ? change.name : undefined;
      void plan(`Add ${name || WHAT[kind as keyof typeof WHAT]}`, change);
    }
  };
  return (
    <section id="add-part" class="sheet" aria-label="Add a part">
      <PartForm button={kind && 'Propose'} primary can={kind !== '' && !busy.value} onGo={go}>
        <Select
          label="Add"
          options={[['', 'choose what …'], ...Object.entries(WHAT)]}
          value={kind}
          onPick={(one) => {
            what.value = one as typeof kind;
            values.value = {};
          }}
        />
        {fields.map(({ name, label, options, hint = '' }) => {
          const value = values.value[name] ?? '';
          const onText = (next: string) => {
            values.value = withValue(values.value, name, next);
          };
          const all = { label, value };
          return options ? (
            <Select
              key={`${kind} ${name}`}
              {...all}
              options={[['', hint], ...options]}
              onPick={onText}
            />
          ) : (
            <Line key={`${kind} ${name}`} {...all} placeholder={hint} onText={onText} />
          );
        })}
      </PartForm>
      {kind === 'sound' && <LoudCaution />}
    </section>
  );
}

function fieldsOf(kind: string, isChannel: boolean, { parts }: Values): AddField[] {
  const name = { name: 'name', label: 'Name' };
  const rails = Object.keys(section('rails'));
  if (isChannel)
    return [
      name,
      { name: 'part', label: 'Part', options: file.value?.parts[kind] ?? [], hint: 'not known' },
      { name: 'pins', label: 'Pins', hint: 'propose' },
      { name: 'rail', label: 'Rail', options: rails, hint: 'propose' },
      ...(kind === 'servo' ? [{ name: 'limits', label: 'Limits (deg)', hint: '−10 to 10' }] : []),
      ...(kind === 'relay'
        ? [{ name: 'level', label: 'Closes on', options: ['high'], hint: 'low level' }]
        : []),
    ];
  switch (kind) {
    case 'sound':
      return [name];
    case 'rail':
      return [
        name,
        { name: 'volts', label: 'Volts', hint: '6' },
        { name: 'limitA', label: 'Amperes that it gives', hint: '5' },
      ];
    case 'board':
      return [
        name,
        {
          name: 'part',
          label: 'Part',
          options: parts?.split(' ') ?? file.value?.parts.board ?? [],
          hint: 'choose …',
        },
        { name: 'bus', label: 'I2C bus', hint: '1' },
        { name: 'address', label: 'Address', hint: 'propose' },
      ];
    case 'group':
      return [name, { name: 'members', label: 'Servos', hint: 'claw_left claw_right' }];
    case 'pose':
      return [
        name,
        {
          name: 'channel',
          label: 'First channel',
          options: Object.keys(section('channels')),
          hint: 'choose …',
        },
        { name: 'value', label: 'Value', hint: 'deg, mark, on, colour' },
      ];
    case 'wire':
      return [
        { name: 'name', label: 'Label', hint: 'next number' },
        {
          name: 'channel',
          label: 'Of channel',
          options: Object.keys(section('channels')),
          hint: 'none',
        },
        { name: 'rail', label: 'Of rail', options: rails, hint: 'none' },
        { name: 'role', label: 'Role', options: ['signal', 'plus', 'return'], hint: 'choose …' },
        { name: 'colour', label: 'Colour', hint: 'BK' },
        { name: 'from', label: 'From', hint: 'TB1-12' },
        { name: 'to', label: 'To', hint: 'J1-39' },
        { name: 'gaugeAwg', label: 'AWG', hint: '22' },
        { name: 'lengthM', label: 'Metres', hint: '0.5' },
      ];
    default:
      return [];
  }
}

/** A number as it is printed on a board, `0x45` or `69`; NaN where it is none, undefined where nothing is given. */
function addressOf(text = ''): number | undefined {
  const typed = text.trim();
  return typed === '' ? undefined : Number(typed);
}

/** The change, or what is missing. */
function changeOf(kind: string, values: Readonly<Record<string, string>>): Change | string {
  const name = values.name?.trim() ?? '';
  if (!name && kind !== 'wire') return 'Give it a name.';
  const number = (key: string) => typedNumber(values[key] ?? '');
  switch (kind) {
    case 'rail':
      if (!(number('volts') > 0 && number('limitA') > 0)) return 'Give volts and amperes above 0.';
      return { do: 'add', what: 'rail', name, volts: number('volts'), limitA: number('limitA') };
    case 'board': {
      if (!values.part) return 'Choose a part.';
      const [bus, address] = [addressOf(values.bus), addressOf(values.address)];
      if (Number.isNaN(bus) || Number.isNaN(address))
        return 'Give bus and address as numbers, such as 1 and 0x45.';
      return {
        ...{ do: 'add', what: 'board', name, part: values.part },
        ...(bus !== undefined && { bus }),
        ...(address !== undefined && { address }),
      };
    }
    case 'group': {
      const members = typedWords(values.members);
      if (members.length === 0) return 'Name at least one servo.';
      return { do: 'add', what: 'group', name, members };
    }
    case 'pose': {
      const { channel, value = '' } = values;
      if (!channel || !value.trim()) return 'Choose a channel, and give its value.';
      const typed = /^[-−]?[\d.]+$/.test(value.trim()) ? number('value') : value.trim();
      return { do: 'add', what: 'pose', name, values: { [channel]: typed } };
    }
    case 'wire': {
      const { role, colour, from, to } = values;
      if (!role || !colour || !from || !to) return 'Give role, colour, and both ends.';
      return {
        do: 'add',
        what: 'wire',
        ...(name && { name }),
        ...(values.channel && { channel: values.channel }),
        ...(values.rail && { rail: values.rail }),
        ...(values.gaugeAwg && { gaugeAwg: number('gaugeAwg') }),
        ...(values.lengthM && { lengthM: number('lengthM') }),
        cores: [{ role, colour: colour.trim(), from: from.trim(), to: to.trim() }],
      };
    }
    default: {
      const pins = typedPins(values.pins);
      if (!pins) return WRONG_PINS;
      const limits = (values.limits ?? '')
        .replaceAll('−', '-')
        .match(/-?\d+(\.\d+)?/g)
        ?.map(Number);
      if (limits && limits.length !== 2) return 'Give limits as two angles, such as −10 to 30.';
      return {
        do: 'add',
        what: 'channel',
        name,
        kind,
        ...(values.part && { part: values.part }),
        ...(pins.length > 0 && { pins }),
        ...(values.rail && { rail: values.rail }),
        ...(limits && { limitsDeg: limits as [number, number] }),
        ...(values.level === 'high' && { activeLow: false }),
      };
    }
  }
}
