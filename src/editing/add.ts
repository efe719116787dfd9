import { factsOf } from '../boards/registry.ts';
import { servoOf } from '../prop/kinds/channel.ts';
import { PARTS, partsFor } from '../prop/parts.ts';
import { FIRST_SOUND, LOUD_CAUTION, SOUND_REASONS } from '../proposal/loudspeaker.ts';
import { USES } from '../proposal/pins.ts';
import { addBoard } from './add-board.ts';
import { addSense } from './add-sense.ts';
import type { Add } from './change.ts';
import { type Draft, refuse } from './draft.ts';
import { choosePins, type PinChoice, type PinUse } from './pins.ts';
import { wiresIn } from './references.ts';
import { soundCardFor } from './sound-card.ts';
import { mustBeFreeCavity } from './wires.ts';

/** Adds a part, with everything proposed that the person has not said. */
export function add(draft: Draft, change: Add): void {
  switch (change.what) {
    case 'channel':
      addChannel(draft, change);
      break;
    case 'rail':
      draft.mustBeFree('rail', change.name, Object.keys(draft.section('rails')));
      draft.set(['rails', change.name], { volts: change.volts, limitA: change.limitA });
      draft.cautions.push(
        'A rail needs a fuse close to its supply, for the thinnest of its wires. The loom proposes one once something draws from it.',
      );
      break;
    case 'board':
      addBoard(draft, change);
      break;
    case 'sense':
      addSense(draft, change);
      break;
    case 'mark':
      for (const channel of change.channels) {
        draft.mustHave('channel', 'channels', channel);
        if (!servoOf(draft.prop.channels[channel]!))
          refuse(`${channel} is not a servo, and only servos have marks; give a servo`, []);
        draft.mustBeFree('mark', change.name, Object.keys(draft.marks(channel)));
        draft.set(['channels', channel, 'marks', change.name], change.deg);
      }
      break;
    case 'group':
      draft.mustBeFree('group', change.name, draft.movable);
      draft.set(['groups', change.name], change.members);
      break;
    case 'pose':
      draft.mustBeFree('pose', change.name, Object.keys(draft.section('poses')));
      draft.set(['poses', change.name], change.values);
      break;
    case 'wire':
      addWire(draft, change);
  }
}

// --- channels -------------------------------------------------------------------------------------

type AddChannel = Extract<Add, { what: 'channel' }>;

/** Pulses for 90 deg that nearly every servo takes (us): common practice, no source. */
const CALIBRATION: [number, number][] = [
  [1000, -45],
  [2000, 45],
];
/** Little enough to harm nothing before the real ends are felt for (deg): our choice. */
const FIRST_LIMITS: [number, number] = [-10, 10];
/** A slow start for a servo of which nothing is known (deg/s, deg/s2): our choice. */
const SLOW = { speedDegS: 30, accelDegS2: 150 };
/** The part whose current counts for a servo of which nothing is known. */
const UNKNOWN = 'servo-standard';
const UNKNOWN_DRAW = PARTS[UNKNOWN]!.typical.draw as Record<'idleA' | 'movingA' | 'stallA', number>;
/** A relay whose load is not known is cautious (s): our choice, as for a new prop. */
const CAUTIOUS_DUTY = { maxOnS: 60, restS: 60 };

function addChannel(draft: Draft, change: AddChannel): void {
  const { name, kind, part } = change;
  draft.mustBeFree('channel', name, draft.movable);
  if (part !== undefined && !partsFor(kind).includes(part))
    refuse(
      `${part} is not a part for a ${kind}; use one of ${partsFor(kind).join(', ') || 'none'}`,
      [],
    );
  const addIt = ADDERS.get(kind);
  if (!addIt) refuse(`there is no kind ${kind}; use ${[...ADDERS.keys()].join(', ')}`, []);
  addIt(draft, change);
}

function addOnPins(draft: Draft, change: AddChannel, { count, uses, make }: Maker): void {
  const { name, kind, part } = change;
  const choice = choosePins(draft.prop, uses, count, { board: change.board, pins: change.pins });
  const rail = railFor(draft, change);
  const { output, ...others } = make(choice, draft);
  draft.set(['channels', name], {
    kind,
    ...(part && { part }),
    output,
    ...(rail !== undefined && { rail }),
    ...others,
  });
  const { word } = factsOf(draft.prop.boards[choice.board]!);
  draft.because(
    count > 1 ? 'pins' : 'pin',
    `${choice.board} ${choice.pins.join(' ')}`,
    change.pins
      ? 'you chose it'
      : `the first ${word} that is free and that check has nothing to say against`,
  );
  if (choice.remark !== undefined) draft.cautions.push(`${choice.remark}.`);
  if (choice.pull)
    draft.cautions.push(
      `Fit a resistor of 10 kohm from ${count > 1 ? 'each pin' : 'the pin'} to ${choice.pull === 'down' ? 'ground' : 'the board’s supply'}: it keeps ${name} off while no program runs.`,
    );
  if (part) draft.because('values', part, `typical: ${PARTS[part]!.source}`);
}

/** A loudspeaker, on the sound card that there is; without one, a sound card is added with it. */
function addSound(draft: Draft, change: AddChannel): void {
  const { name, pins, rail } = change;
  if (pins) refuse('a loudspeaker has no pins: it is on a sound card; leave them out', []);
  const board = soundCardFor(draft, change.board);
  draft.set(['channels', name], {
    ...{ kind: 'sound', output: { board } },
    // Its amplifier has a supply of its own, unless the person says otherwise.
    ...(rail !== undefined && { rail: railFor(draft, change) }),
    ...FIRST_SOUND,
    park: { to: 0 },
  });
  draft.because('ceiling', `${FIRST_SOUND.ceiling} of full scale`, SOUND_REASONS.ceiling);
  draft.because('fade to silence', `${FIRST_SOUND.fadeOutS} s`, SOUND_REASONS.fadeOutS);
  draft.cautions.push(LOUD_CAUTION);
}

interface Maker {
  count: number;
  uses: PinUse[];
  make: (choice: PinChoice, draft: Draft) => Record<string, unknown>;
}

const MAKERS: Record<'servo' | 'relay' | 'rgb' | 'lamp', (change: AddChannel) => Maker> = {
  servo: ({ name, part, limitsDeg }) => ({
    count: 1,
    uses: [USES.servo(name, [CALIBRATION[0]![0], CALIBRATION[1]![0]])],
    make: ({ board, pins }, draft) => {
      const limits = limitsDeg ?? FIRST_LIMITS;
      const rest = Math.min(Math.max(0, limits[0]), limits[1]);
      draft.because(
        'calibration',
        '1000 to 2000 us for 90 deg',
        'common for servos; measure yours',
      );
      draft.because(
        'limits',
        `${limits[0]} to ${limits[1]} deg`,
        limitsDeg ? 'you chose them' : 'little, until you have felt for its ends by jogging',
      );
      draft.because(
        'park position',
        `mark rest, ${rest} deg`,
        'it holds there: let go, it might fall',
      );
      if (part === undefined) {
        draft.because('speed', `${SLOW.speedDegS} deg/s`, 'slow, until you have tried more');
        draft.because('current', `${UNKNOWN_DRAW.stallA} A stalled`, `typical of ${UNKNOWN}`);
      }
      draft.cautions.push(
        'Pinch points: nothing of it is measured yet. Try it alone with its horn off, and feel for its ends by jogging, before anything is in its way.',
      );
      return {
        output: { board, pin: pins[0] },
        calibration: CALIBRATION,
        limitsDeg: limits,
        ...(part === undefined && { ...SLOW, draw: UNKNOWN_DRAW }),
        marks: { rest },
        park: { to: 'rest', then: 'hold' },
      };
    },
  }),
  relay: ({ name, part, activeLow = true }) => ({
    count: 1,
    uses: [
      USES.relay(name, activeLow),
      {
        ...USES.relay(name, activeLow, activeLow ? 'up' : 'down'),
        pull: activeLow ? 'up' : 'down',
      },
    ],
    make: ({ board, pins, pull }, draft) => {
      draft.because(
        'closes on',
        activeLow ? 'a low level' : 'a high level',
        activeLow ? 'as most relay modules do; look at yours' : 'you chose it',
      );
      const typical = part === undefined ? undefined : PARTS[part]!.typical;
      const duty = typical?.duty === undefined && typical?.contact !== 'momentary';
      if (duty)
        draft.because(
          'on, and rest',
          `${CAUTIOUS_DUTY.maxOnS}/${CAUTIOUS_DUTY.restS} s`,
          'cautious, until you know the data sheet of what it switches',
        );
      draft.cautions.push(
        'A relay of this prop switches no mains: leave that to a licensed person, under your local code.',
      );
      return {
        output: { board, pin: pins[0], activeLow, ...(pull && { pull }) },
        ...(typical?.draw === undefined && { draw: { onA: 0.1 } }),
        ...(duty && { duty: CAUTIOUS_DUTY }),
        park: { to: 'off' },
      };
    },
  }),
  rgb: (change) => light(change, 3),
  lamp: (change) => light(change, 1),
};

type Adder = (draft: Draft, change: AddChannel) => void;

/** What adds a channel, by its kind. */
const ADDERS: ReadonlyMap<string, Adder> = new Map([
  ...Object.entries(MAKERS).map(([kind, maker]): [string, Adder] => [
    kind,
    (draft, change) => addOnPins(draft, change, maker(change)),
  ]),
  ['sound', addSound],
]);

function light({ name, part }: AddChannel, count: number): Maker {
  const use = USES.light(name, false, true);
  return {
    count,
    uses: [use, { ...USES.light(name, false, true, 'down'), pull: 'down' }],
    make: ({ board, pins, pull }, draft) => {
      const typical = part === undefined ? undefined : PARTS[part]!.typical;
      draft.because(
        'between pin and light',
        count > 1 ? 'n-mosfet' : 'driver board',
        'a pin gives a few mA only: something must switch the light for it',
      );
      draft.cautions.push(
        'Flashing light can cause seizures: all lights together flash three times a second at most. Put up a notice anyway.',
      );
      const common = count > 1 ? { common: 'anode' } : {};
      return {
        output: {
          board,
          ...(count > 1 ? { pins } : { pin: pins[0] }),
          ...common,
          ...(pull && { pull }),
        },
        through: count > 1 ? 'n-mosfet' : 'driver board',
        ...(typical?.draw === undefined && {
          draw: { fullA: count > 1 ? [0.02, 0.02, 0.02] : 0.1 },
        }),
        fadeS: 0.2,
        park: { to: count > 1 ? '#000000' : 0 },
      };
    },
  };
}

/** The rail that suits its part, of those the one that most channels of its kind draw from. */
function railFor(draft: Draft, { kind, part, rail }: AddChannel): string | undefined {
  const { rails, channels } = draft.prop;
  if (rail !== undefined) {
    draft.mustHave('rail', 'rails', rail);
    draft.because('rail', rail, 'you chose it');
    return rail;
  }
  const volts = part === undefined ? undefined : PARTS[part]!.supplyV;
  const suits = Object.keys(rails).filter(
    (name) => !volts || (rails[name]!.volts >= volts[0]! && rails[name]!.volts <= volts[1]!),
  );
  const users = (name: string) =>
    Object.values(channels).filter((one) => one.rail === name && one.kind === kind).length;
  const [best] = suits.toSorted((a, b) => users(b) - users(a));
  if (best === undefined) {
    draft.cautions.push(
      volts
        ? `No rail has ${volts[0]} to ${volts[1]} V, as ${part} needs. Add one, then choose it here.`
        : 'The file has no rail: add one, so that its current is counted.',
    );
    return undefined;
  }
  draft.because(
    'rail',
    best,
    users(best) > 0
      ? `${users(best)} of its kind draw from it${volts ? `, and its ${rails[best]!.volts} V suit the part` : ''}`
      : volts
        ? `its ${rails[best]!.volts} V suit the part`
        : 'the first that there is; look at its voltage',
  );
  return best;
}

// --- wires ----------------------------------------------------------------------------------------

function addWire(draft: Draft, change: Extract<Add, { what: 'wire' }>): void {
  const wires = wiresIn(draft.raw);
  const label = change.name ?? nextLabel(wires.map((wire) => wire.label));
  if (wires.some((wire) => wire.label === label))
    refuse(`another wire has the label ${label}; give another`, [`wire ${label}`]);
  if (change.name === undefined) draft.because('label', label, 'the next free number');
  const { channel, rail, gaugeAwg, lengthM, cores } = change;
  if (channel !== undefined) draft.mustHave('channel', 'channels', channel);
  if (rail !== undefined) draft.mustHave('rail', 'rails', rail);
  const sizes = {
    ...(gaugeAwg !== undefined && { gaugeAwg }),
    ...(lengthM !== undefined && { lengthM }),
  };
  for (const { from, to } of cores) for (const end of [from, to]) mustBeFreeCavity(wires, end);
  draft.cautions.push('Switch off and unplug the supply before you fit the wire.');
  const own = channel !== undefined && !wires.some((wire) => wire.own === channel);
  if (own) {
    draft.set(['channels', channel, 'wire'], { label, ...sizes, cores });
    draft.touch(`channel ${channel}`);
    return;
  }
  const entry = {
    label,
    ...(channel !== undefined && { channel }),
    ...(rail !== undefined && { rail }),
    ...sizes,
    cores,
  };
  const count = (draft.raw.wires as unknown[] | null | undefined)?.length ?? 0;
  if (count === 0) draft.set(['wires'], [entry]);
  else draft.set(['wires', count], entry);
}

function nextLabel(labels: readonly string[]): string {
  const numbers = labels.map((label) => Number(/^W(\d+)$/.exec(label)?.[1] ?? 0));
  const next = Math.max(0, ...numbers) + 1;
  return `W${String(next).padStart(2, '0')}`;
}
