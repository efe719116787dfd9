import { withMinus } from '../../shared/minus.ts';
import { tidy } from '../../shared/units.ts';

/**
 * A cue on the desk: its steps as the file has them, what they touch, when they are, and every change to
 * them. Pure. A change makes a new list and new objects only for the steps that it changes, and sets only
 * the keys in question: what the desk does not know stays as it is.
 */

/** A step as the prop file has it. */
export type Step = Readonly<Record<string, unknown>>;
export type Steps = readonly Step[];

/** What of the prop the desk needs to know. */
export interface Known {
  /** By channel: the part of a step that commands it, where one does; limits and marks of servos (deg). */
  channels: Readonly<
    Record<
      string,
      {
        part?: Part | undefined;
        limitsDeg?: readonly number[] | undefined;
        marks?: Readonly<Record<string, number>> | undefined;
        sounds?: readonly string[] | undefined;
      }
    >
  >;
  groups: Readonly<Record<string, readonly string[]>>;
  poses: readonly string[];
  cues: readonly string[];
  takes: readonly string[];
}

/** The parts of a step that name channels, and which key says how long they take. */
const PARTS = ['move', 'colour', 'dim', 'switch', 'sound'] as const;
export type Part = (typeof PARTS)[number];
/** The parts that are in no channel's row. */
const OTHER_PARTS = ['pose', 'take', 'until', 'cue', 'choose'] as const;
type OtherPart = (typeof OTHER_PARTS)[number];

/** Every key that the desk has a field for. */
const KEYS: ReadonlySet<string> = new Set([
  ...[
    'name',
    'at',
    'after',
    'spreadS',
    'overS',
    'ease',
    'fadeS',
    'forS',
    'volume',
    'rate',
    'times',
  ],
  ...PARTS,
  ...OTHER_PARTS,
]);

/** Rows that belong to no channel. */
export const POSE_ROW = '/poses';
export const TAKE_ROW = '/takes';
export const FLOW_ROW = '/waits and cues';

/** Shortest and finest length of a part (s). */
export const LEAST_S = 0.05;
const FINEST_S = 0.001;
/** How long a part is drawn whose length nobody has said or rehearsed yet (s). */
const USUAL_S = 0.5;

const round = (s: number): number => tidy(Math.max(0, Math.round(s / FINEST_S) * FINEST_S), 3);

const isRecord = (value: unknown): value is Record<string, unknown> =>
  typeof value === 'object' && value !== null && !Array.isArray(value);
export const recordOf = (value: unknown): Record<string, unknown> => (isRecord(value) ? value : {});
const numberOf = (value: unknown): number | undefined =>
  typeof value === 'number' && Number.isFinite(value) ? value : undefined;
const textOf = (value: unknown): string | undefined =>
  typeof value === 'string' ? value : undefined;

/** The steps of a cue, in its short form or its long one; undefined for what is none. */
export function stepsOf(cue: unknown): Steps | undefined {
  const steps = isRecord(cue) ? cue.steps : cue;
  return Array.isArray(steps) && steps.every(isRecord) ? (steps as Step[]) : undefined;
}

export const same = (one: unknown, other: unknown): boolean =>
  one === other || JSON.stringify(one) === JSON.stringify(other);

// --- what a step touches ----------------------------------------------------------------------------

/** A part of a step in one row: what is drawn as a block. */
export interface Block {
  /** Index of the step. */
  step: number;
  /** The row: a channel, a group, or one of those that belong to none. */
  row: string;
  /** The key of the step. */
  part: string;
  /** What it does, in words: `to open`. */
  words: string;
}

/** Every block of the steps, in their order. */
export function blocksOf(steps: Steps): Block[] {
  return steps.flatMap((step, at) => blocksOfStep(step, at));
}

function blocksOfStep(step: Step, at: number): Block[] {
  const blocks: Block[] = [];
  for (const part of PARTS)
    for (const [row, to] of Object.entries(recordOf(step[part])))
      blocks.push({ step: at, row, part, words: targetWords(part, to) });
  if (step.pose !== undefined)
    blocks.push({ step: at, row: POSE_ROW, part: 'pose', words: `pose ${String(step.pose)}` });
  if (step.take !== undefined)
    blocks.push({ step: at, row: TAKE_ROW, part: 'take', words: flowWords(step, 'take') });
  for (const part of ['until', 'cue', 'choose'] as const)
    if (step[part] !== undefined)
      blocks.push({ step: at, row: FLOW_ROW, part, words: flowWords(step, part) });
  for (const key of foreignKeys(step)) {
    const value = step[key];
    const words = typeof value === 'string' ? `${key} ${value}` : key;
    blocks.push({ step: at, row: FLOW_ROW, part: key, words });
  }
  // One that does nothing yet must be within reach as well.
  if (blocks.length === 0)
    blocks.push({ step: at, row: FLOW_ROW, part: '', words: 'does nothing yet' });
  return blocks;
}

/** Keys of a step that the desk has no field for. */
export function foreignKeys(step: Step): string[] {
  return Object.keys(step).filter((key) => !KEYS.has(key));
}

/** A target in words: `to open`, `to 12.5°`, `on`, `to 40 %`. */
export function targetWords(part: Part, to: unknown): string {
  if (part === 'switch') return isOn(to) ? 'on' : 'off';
  if (part === 'sound') return String(to);
  if (part === 'dim') return typeof to === 'number' ? `to ${tidy(to * 100, 1)} %` : 'to ?';
  if (isRecord(to)) return `to ${degWords(to.around)} ± ${degWords(to.spread)}`;
  return `to ${typeof to === 'number' ? degWords(to) : String(to)}`;
}

const degWords = (deg: unknown): string => `${withMinus(deg)}°`;

/** What the file calls on; unquoted words have been read already. */
export const isOn = (value: unknown): boolean => value === true || value === 'on';

function flowWords(step: Step, part: OtherPart): string {
  if (part === 'until') {
    const { channel, above, below, is } = recordOf(step.until);
    const what =
      above !== undefined
        ? `above ${placeWords(above)}`
        : below !== undefined
          ? `below ${placeWords(below)}`
          : isOn(is)
            ? 'on'
            : 'off';
    return `wait for ${String(channel)} ${what}`;
  }
  const times =
    step.times === undefined
      ? ''
      : step.times === 'until stopped'
        ? ', until stopped'
        : `, ${step.times} times`;
  if (part === 'take') {
    const rate = step.rate === undefined ? '' : ` at ${step.rate} times its speed`;
    return `take ${String(step.take)}${rate}${times}`;
  }
  if (part === 'cue') return `cue ${String(step.cue)}${times}`;
  return `one of ${Array.isArray(step.choose) ? step.choose.join(', ') : '?'}${times}`;
}

const placeWords = (place: unknown): string =>
  typeof place === 'number' ? degWords(place) : String(place);

/** What a whole step does, in words: `beak to open, mist on`. */
export function stepWords(step: Step): string {
  return blocksOfStep(step, 0)
    .map(({ row, words }) => (row.startsWith('/') ? words : `${row} ${words}`))
    .join(', ');
}

/** The rows of a cue: those that its steps use, in their order; then those that are asked for. */
export function rowsOf(steps: Steps, more: readonly string[] = []): string[] {
  const used = blocksOf(steps).map(({ row }) => row);
  const rows = [...new Set([...used, ...more])];
  // What belongs to no channel stands first: it says how the rest is ordered.
  const others = [FLOW_ROW, POSE_ROW, TAKE_ROW].filter((row) => rows.includes(row));
  return [...others, ...rows.filter((row) => !row.startsWith('/'))];
}

/** The row's name for people. */
export function rowWords(row: string): string {
  if (row === POSE_ROW) return 'poses';
  if (row === TAKE_ROW) return 'takes';
  return row === FLOW_ROW ? 'waits and cues' : row;
}

// --- when -------------------------------------------------------------------------------------------

/** When a step is (s). */
export interface Times {
  /** The earliest start. */
  startS: number;
  /** Its end, where it starts then. */
  endS: number;
  /** It may start up to so much later, at random. */
  spreadS: number;
  /** Its start is not known: what it waits for never ends, or is not there. */
  never: boolean;
}

/**
 * When each step is: `at`, `after` and lengths that the file gives; where it gives none, as long as the
 * step took when it was rehearsed.
 * @param tookS how long each step took, by index (s); null where it did not end
 */
export function timesOf(steps: Steps, tookS: readonly (number | null | undefined)[] = []): Times[] {
  const named = new Map<string, number>();
  for (const [at, { name }] of steps.entries())
    if (typeof name === 'string' && !named.has(name)) named.set(name, at);
  const times: (Times | undefined)[] = [];
  const open = new Set<number>();
  const timeOf = (at: number): Times => {
    const known = times[at];
    if (known) return known;
    const step = steps[at]!;
    const after = textOf(step.after);
    const before = after === undefined ? undefined : named.get(after);
    open.add(at);
    // A step that is not there, or waits for this one, never ends.
    const lost = after !== undefined && (before === undefined || open.has(before));
    const from = lost || before === undefined ? undefined : timeOf(before);
    open.delete(at);
    const startS = round((from?.endS ?? 0) + (numberOf(step.at) ?? 0));
    const took = tookS[at];
    const length = Math.max(lengthS(step), took ?? 0);
    const spreadS = (numberOf(step.spreadS) ?? 0) + (from?.spreadS ?? 0);
    const never = lost || (from?.never ?? false);
    const found = { startS, endS: round(startS + length), spreadS, never };
    times[at] = found;
    return found;
  };
  return steps.map((_, at) => timeOf(at));
}

/** How long a step takes by what the file says (s); a guess where that is nothing. */
function lengthS(step: Step): number {
  const lengths = blocksOfStep(step, 0).map(({ part }) => saidS(step, part));
  return Math.max(0, ...lengths.map((one) => one ?? 0));
}

/** The key that says how long a part takes; undefined for one without. */
export function lengthKey(part: string): 'overS' | 'fadeS' | 'forS' | 'withinS' | undefined {
  if (part === 'move' || part === 'pose') return 'overS';
  if (part === 'colour' || part === 'dim') return 'fadeS';
  if (part === 'switch') return 'forS';
  return part === 'until' ? 'withinS' : undefined;
}

/** How long a part takes by the file (s); undefined where the file does not say. */
export function saidS(step: Step, part: string): number | undefined {
  const key = lengthKey(part);
  if (key === undefined) return undefined;
  const holder = key === 'withinS' ? recordOf(step.until) : step;
  return numberOf(holder[key]);
}

/** How long a block is drawn (s). @param tookS how long the step took when it was rehearsed */
export function blockS(step: Step, part: string, tookS: number | null | undefined): number {
  const said = saidS(step, part);
  if (part === 'until') return tookS ?? said ?? USUAL_S;
  if (said !== undefined) return said;
  if (part === 'colour' || part === 'dim' || part === 'switch') return 0;
  return tookS ?? USUAL_S;
}

/** The end of the last step (s). */
export function endOf(times: readonly Times[]): number {
  return Math.max(0, ...times.map(({ endS, spreadS }) => endS + spreadS));
}

/**
 * In which line of its row each of these spans is, so that none covers another; spans that begin together
 * are in the order in which they are given.
 * @param leastS as long as a span is drawn at least (s)
 */
export function linesOf(
  spans: readonly { startS: number; endS: number }[],
  leastS: number,
): number[] {
  const order = spans.map((_, i) => i).sort((a, b) => spans[a]!.startS - spans[b]!.startS || a - b);
  const ends: number[] = [];
  const lines: number[] = [];
  for (const i of order) {
    const { startS, endS } = spans[i]!;
    const free = ends.findIndex((end) => end <= startS + 1e-9);
    const line = free < 0 ? ends.length : free;
    ends[line] = Math.max(endS, startS + leastS);
    lines[i] = line;
  }
  return lines;
}

// --- changes ----------------------------------------------------------------------------------------

/** The list with another step in the place of one. */
function withStep(steps: Steps, at: number, step: Step): Steps {
  return steps.map((one, i) => (i === at ? step : one));
}

/** The order in which a new step has its keys. */
const ORDER = [
  ...['name', 'at', 'after', 'spreadS', 'move', 'pose', 'overS', 'ease', 'colour', 'dim', 'fadeS'],
  ...['switch', 'forS', 'sound', 'volume', 'take', 'rate', 'until', 'cue', 'choose', 'times'],
];

/** The step with a key set; undefined takes it away. A key that comes stands where makers look for it. */
export function withKey(step: Step, key: string, value: unknown): Step {
  if (value === undefined) {
    const { [key]: _, ...rest } = step;
    return rest;
  }
  if (Object.hasOwn(step, key)) return { ...step, [key]: value };
  const place = ORDER.indexOf(key);
  const entries = Object.entries(step);
  const before = place < 0 ? -1 : entries.findIndex(([other]) => ORDER.indexOf(other) > place);
  entries.splice(before < 0 ? entries.length : before, 0, [key, value]);
  return Object.fromEntries(entries);
}

/** Sets a key of a step. */
export function setKey(steps: Steps, at: number, key: string, value: unknown): Steps {
  const step = steps[at];
  if (!step || same(step[key], value)) return steps;
  return withStep(steps, at, withKey(step, key, value));
}

/** Sets a target of a part: `move`, `beak`, 12. Undefined takes it away, and the part with its last one. */
export function setTarget(
  steps: Steps,
  at: number,
  part: string,
  name: string,
  to: unknown,
): Steps {
  const step = steps[at];
  if (!step) return steps;
  const targets = recordOf(step[part]);
  if (to !== undefined) return setKey(steps, at, part, { ...targets, [name]: to });
  const { [name]: _, ...rest } = targets;
  return removePart(setKey(steps, at, part, rest), at, part);
}

/** Takes a part away once nothing is left in it, and the lengths that then belong to nothing. */
function removePart(steps: Steps, at: number, part: string): Steps {
  if (Object.keys(recordOf(steps[at]![part])).length > 0) return steps;
  return dropPart(steps, at, part);
}

/** Takes a part of a step away, and the lengths that then belong to nothing. */
export function dropPart(steps: Steps, at: number, part: string): Steps {
  let step = withKey(steps[at]!, part, undefined);
  const has = (...parts: string[]) => parts.some((one) => step[one] !== undefined);
  if (!has('move', 'pose')) step = withKey(step, 'overS', undefined);
  if (!has('colour', 'dim', 'pose', 'sound')) step = withKey(step, 'fadeS', undefined);
  if (!has('move', 'pose', 'colour', 'dim')) step = withKey(step, 'ease', undefined);
  if (!has('switch')) step = withKey(step, 'forS', undefined);
  if (!has('sound')) step = withKey(step, 'volume', undefined);
  if (!has('take')) step = withKey(step, 'rate', undefined);
  if (!has('cue', 'choose', 'take')) step = withKey(step, 'times', undefined);
  return withStep(steps, at, step);
}

/** Whether a step does anything. */
export function acts(step: Step): boolean {
  return [...PARTS, ...OTHER_PARTS, ...foreignKeys(step)].some((key) => step[key] !== undefined);
}

/** Moves a step by so much (s); one that comes after another keeps coming after it, and not sooner. */
export function moveStep(steps: Steps, at: number, byS: number): Steps {
  const step = steps[at];
  if (!step) return steps;
  const was = numberOf(step.at) ?? 0;
  const to = round(was + byS);
  // After another step, no `at` is its end.
  if (to === 0 && step.after !== undefined) return setKey(steps, at, 'at', undefined);
  return setKey(steps, at, 'at', to);
}

/** The step to the nearest place on a grid, from where it would be (s). */
export function snapped(s: number, gridS: number): number {
  return gridS > 0 ? round(Math.round(s / gridS) * gridS) : round(s);
}

/** Makes a part of a step so long (s). */
export function stretch(steps: Steps, at: number, part: string, toS: number): Steps {
  const step = steps[at];
  const key = lengthKey(part);
  if (!step || key === undefined) return steps;
  const value = round(Math.max(key === 'fadeS' ? 0 : LEAST_S, toS));
  if (key === 'withinS')
    return setKey(steps, at, 'until', { ...recordOf(step.until), withinS: value });
  return setKey(steps, at, key, value);
}

/** Where a step that starts then stands in the list: the order of the file is that of time. */
function placeFor(steps: Steps, startS: number): number {
  const times = timesOf(steps);
  let place = 0;
  for (const [at, time] of times.entries()) if (time.startS <= startS) place = at + 1;
  return place;
}

/** Adds a step where its time says. @returns the steps, and where it is */
export function addStep(steps: Steps, step: Step): { steps: Steps; at: number } {
  const at = placeFor(steps, numberOf(step.at) ?? 0);
  return { steps: [...steps.slice(0, at), step, ...steps.slice(at)], at };
}

/** A copy of a step, without its name, which starts then (s), after no other. */
export function copyAt(step: Step, startS: number): Step {
  return withKey(
    withKey(withKey(step, 'name', undefined), 'after', undefined),
    'at',
    round(startS),
  );
}

/**
 * Takes a step away. Those that came after it start at the same time as before, after what it came after
 * itself.
 */
export function removeStep(
  steps: Steps,
  at: number,
  tookS: readonly (number | null | undefined)[] = [],
): Steps {
  const gone = steps[at];
  if (!gone) return steps;
  const times = timesOf(steps, tookS);
  const isOnly = steps.filter(({ name }) => name === gone.name).length === 1;
  const kept = steps.map((step, i) => {
    if (i === at || gone.name === undefined || step.after !== gone.name || !isOnly) return step;
    return withKey(withKey(step, 'after', undefined), 'at', times[i]!.startS);
  });
  return kept.filter((_, i) => i !== at);
}

/** A name that no step has: `step_2`. */
export function freeName(steps: Steps, wanted = 'step'): string {
  const taken = new Set(steps.map(({ name }) => name));
  for (let i = 1; ; i++) if (!taken.has(`${wanted}_${i}`)) return `${wanted}_${i}`;
}

/**
 * Lets a step come after another one, which gets a name where it has none; undefined lets it start by the
 * clock of the cue, at the same time as before.
 */
export function setAfter(
  steps: Steps,
  at: number,
  other: number | undefined,
  tookS: readonly (number | null | undefined)[] = [],
): Steps {
  const times = timesOf(steps, tookS);
  const startS = times[at]!.startS;
  if (other === undefined) return setKey(setKey(steps, at, 'after', undefined), at, 'at', startS);
  if (other === at || comesAfter(steps, other, at)) return steps;
  let changed = steps;
  if (textOf(steps[other]!.name) === undefined)
    changed = setKey(changed, other, 'name', freeName(steps));
  changed = setKey(changed, at, 'after', changed[other]!.name);
  const laterS = round(startS - times[other]!.endS);
  return setKey(changed, at, 'at', laterS > 0 ? laterS : undefined);
}

/** Renames a step, and what comes after it along with it; an empty name takes it away. A name that another step has stays with that one. */
export function setName(
  steps: Steps,
  at: number,
  name: string,
  tookS: readonly (number | null | undefined)[] = [],
): Steps {
  const old = steps[at]?.name;
  if (name !== '' && steps.some((step, i) => i !== at && step.name === name)) return steps;
  if (name === '') {
    let changed = steps;
    for (const [i, { after }] of steps.entries())
      if (old !== undefined && after === old) changed = setAfter(changed, i, undefined, tookS);
    return setKey(changed, at, 'name', undefined);
  }
  return setKey(steps, at, 'name', name).map((step) =>
    old !== undefined && step.after === old ? withKey(step, 'after', name) : step,
  );
}

/** Whether a step waits for another one, directly or through others. */
export function comesAfter(steps: Steps, at: number, other: number): boolean {
  const seen = new Set<number>();
  let now: number = at;
  while (!seen.has(now)) {
    seen.add(now);
    const { after } = steps[now]!;
    if (after === undefined) return false;
    now = steps.findIndex(({ name }) => name === after);
    if (now < 0) return false;
    if (now === other) return true;
  }
  return false;
}

// --- new steps --------------------------------------------------------------------------------------

/** A new step in a row, at a time (s), with what most makers want there; undefined where nothing fits. */
export function newStep(row: string, atS: number, known: Known, own = ''): Step | undefined {
  const at = round(atS);
  if (row === POSE_ROW) {
    const [pose] = known.poses;
    return pose === undefined ? undefined : { at, pose, overS: 1 };
  }
  if (row === TAKE_ROW) {
    const [take] = known.takes;
    return take === undefined ? undefined : { at, take };
  }
  if (row === FLOW_ROW) {
    const cue = known.cues.find((one) => one !== own);
    if (cue !== undefined) return { at, cue };
    const until = newUntil(known);
    return until && { at, until };
  }
  const target = newTarget(row, known);
  if (!target) return undefined;
  const { part, to } = target;
  const lengths = {
    move: { overS: 1 },
    colour: { fadeS: 1 },
    dim: { fadeS: 1 },
    switch: { forS: 2 },
    sound: {},
  };
  return { at, [part]: { [row]: to }, ...lengths[part] };
}

/** A wait for a channel that can be waited for. */
export function newUntil(known: Known): Record<string, unknown> | undefined {
  const { channels } = known;
  const names = Object.keys(channels);
  const servo = names.find((name) => channels[name]!.part === 'move');
  if (servo !== undefined)
    return { channel: servo, above: middleOf(limitsOf(servo, known)), withinS: 5 };
  const relay = names.find((name) => channels[name]!.part === 'switch');
  return relay === undefined ? undefined : { channel: relay, is: 'on', withinS: 5 };
}

/** What a new part of a row is, by its kind. */
export function newTarget(row: string, known: Known): { part: Part; to: unknown } | undefined {
  const { channels } = known;
  const name = membersOf(row, known).find((one) => Object.hasOwn(channels, one));
  const first = name === undefined ? undefined : channels[name]!;
  if (!first) return undefined;
  if (first.part === 'colour') return { part: 'colour', to: 'moccasin' };
  if (first.part === 'dim') return { part: 'dim', to: 0.5 };
  if (first.part === 'switch') return { part: 'switch', to: 'on' };
  if (first.part === 'sound') return { part: 'sound', to: first.sounds?.[0] ?? 'off' };
  if (first.part !== 'move') return undefined;
  const marks = marksOf(row, known);
  const open = marks.find((mark) => mark === 'open') ?? marks.at(-1);
  if (open !== undefined) return { part: 'move', to: open };
  return { part: 'move', to: middleOf(limitsOf(row, known)) };
}

/** A group's channels; a channel's own name. */
function membersOf(row: string, { groups }: Known): readonly string[] {
  return Object.hasOwn(groups, row) ? groups[row]! : [row];
}

/** The angles that a channel, or every member of a group, may be sent to (deg). */
export function limitsOf(row: string, known: Known): [low: number, high: number] {
  const { channels } = known;
  const all = membersOf(row, known).flatMap((name) =>
    Object.hasOwn(channels, name) ? [channels[name]!.limitsDeg ?? []] : [],
  );
  return [Math.max(...all.map(([low = 0]) => low)), Math.min(...all.map(([, high = 0]) => high))];
}

/** The angle in the middle between two (deg). */
export const middleOf = ([low, high]: readonly [number, number]): number =>
  tidy((low + high) / 2, 1);

/** The marks that a channel has, or every member of a group. */
export function marksOf(row: string, known: Known): string[] {
  const { channels } = known;
  const of = (name: string) => Object.keys(recordOf(channels[name]?.marks));
  const [first = '', ...others] = membersOf(row, known);
  return of(first).filter((mark) => others.every((name) => of(name).includes(mark)));
}

// --- undo and redo ----------------------------------------------------------------------------------

/** What was changed, in order, and what was taken back. */
export interface History {
  past: readonly Steps[];
  now: Steps;
  future: readonly Steps[];
  /** The gesture that the last change belongs to: the next change of the same one is the same change. */
  gesture: string;
}

const MAX_PAST = 200;

export const begin = (steps: Steps): History => ({ past: [], now: steps, future: [], gesture: '' });

/** @param gesture changes of one gesture, such as a drag, are undone together; empty for one by itself */
export function changed(history: History, steps: Steps, gesture = ''): History {
  const { past, now, gesture: before } = history;
  if (same(steps, now)) return history;
  const goesOn = gesture !== '' && gesture === before;
  return {
    past: goesOn ? past : [...past, now].slice(-MAX_PAST),
    now: steps,
    future: [],
    gesture,
  };
}

export function undone({ past, now, future }: History): History {
  const last = past.at(-1);
  if (!last) return { past, now, future, gesture: '' };
  return { past: past.slice(0, -1), now: last, future: [now, ...future], gesture: '' };
}

export function redone({ past, now, future }: History): History {
  const [next, ...rest] = future;
  if (!next) return { past, now, future, gesture: '' };
  return { past: [...past, now], now: next, future: rest, gesture: '' };
}

// --- two people -------------------------------------------------------------------------------------

/**
 * What becomes of a draft when the file has changed. `base` is what the cue was when the draft began,
 * `theirs` what the file has now; undefined where the cue is not there.
 */
export function meet(
  base: Steps | undefined,
  mine: Steps,
  theirs: Steps | undefined,
): 'go on' | 'take over' | 'ask' {
  if (same(base, theirs)) return 'go on';
  if (same(mine, base) || same(mine, theirs)) return 'take over';
  return 'ask';
}

/** The steps in which two lists differ, between the same first and last ones. */
export function differing(old: Steps, now: Steps): { from: number; count: number; steps: Steps } {
  let from = 0;
  while (from < old.length && from < now.length && same(old[from], now[from])) from++;
  let ends = 0;
  while (
    ends < old.length - from &&
    ends < now.length - from &&
    same(old[old.length - 1 - ends], now[now.length - 1 - ends])
  )
    ends++;
  return { from, count: old.length - from - ends, steps: now.slice(from, now.length - ends) };
}
