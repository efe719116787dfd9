import { batch, computed, effect, signal } from '@preact/signals';
import type { Result } from '../../api/methods.ts';
import { freeName } from '../../prop/name.ts';
import { systemClock } from '../../shared/clock.ts';
import { withMinus } from '../../shared/minus.ts';
import type { RefusalCode } from '../../shared/refusals.ts';
import {
  acts,
  begin,
  changed,
  differing,
  type History,
  type Known,
  meet,
  recordOf,
  redone,
  rowsOf,
  type Step,
  type Steps,
  same,
  stepsOf,
  timesOf,
  undone,
} from './cues-model.ts';
import { Rehearser } from './cues-rehearser.ts';
import { lastChange, undoLast, writeChange } from './file-change.ts';
import { fileNews } from './file-news.ts';
import { forPeople } from './for-people.ts';
import { KeepLater } from './keep-later.ts';
import { browserKept, readKept } from './kept.ts';
import { KIND_WORDS } from './kind-words.ts';
import { call, LinkGone, linkState } from './link.ts';
import { isRefusal } from './refusal.ts';
import { channels, cueList, groups, propName, version } from './store.ts';

/** The cue on the desk: what the file has, what was changed, what is kept and saved. */

/** The prop file as it is on the disk. */
export const file = signal<Result<'prop.data'> | undefined>(undefined);
/** Why nothing can be shown. */
export const problem = signal('');
/** What was done last, or why not. */
export const said = signal('');
/** Something is being written. */
export const busy = signal(false);

/** The name of the cue on the desk; empty where there is none. */
export const cue = signal('');
/** The step that is selected; -1: none. */
export const selected = signal(-1);
/** Rows that were asked for, beside those that the steps use. */
export const moreRows = signal<readonly string[]>([]);
/** Where the next step is placed, and what is played from (s). */
export const cursorS = signal(0);

/** A cue that was changed here and is not saved. */
interface Draft {
  /** The steps that the file had when it was begun; undefined where the cue is new. */
  base: Steps | undefined;
  history: History;
}

const drafts = signal<Readonly<Record<string, Draft>>>({});

/** The steps of a cue in the file; undefined where it has no such cue. */
export function inFile(name: string): Steps | undefined {
  const cues = recordOf(file.value?.data.cues);
  return Object.hasOwn(cues, name) ? stepsOf(cues[name]) : undefined;
}

/** Every cue: those of the file in its order, then those that are new here. */
export const names = computed(() => {
  const cues = Object.keys(recordOf(file.value?.data.cues));
  return [...cues, ...Object.keys(drafts.value).filter((name) => !cues.includes(name))];
});
/** Cues with changes that are not saved. */
export const unsaved = computed(
  () =>
    new Set(
      Object.entries(drafts.value)
        .filter(([name, { history: of }]) => !same(of.now, inFile(name)))
        .map(([name]) => name),
    ),
);

const NOTHING = begin([]);
/** The steps on the desk, with what was undone and can be done again. */
export const history = computed(
  () => drafts.value[cue.value]?.history ?? begin(inFile(cue.value) ?? []),
);
export const steps = computed<Steps>(() => (cue.value ? history.value : NOTHING).now);
/** The cue has changes that are not saved. */
export const isChanged = computed(() => unsaved.value.has(cue.value));
/** Somebody else has changed this cue in the file, and here it was changed as well: what they made of it. */
export const theirs = computed<{ steps: Steps | undefined } | undefined>(() => {
  const draft = drafts.value[cue.value];
  if (!draft || !file.value) return undefined;
  const now = inFile(cue.value);
  return meet(draft.base, draft.history.now, now) === 'ask' ? { steps: now } : undefined;
});

/** What the desk knows of the prop. */
export const known = computed<Known>(() => ({
  channels: Object.fromEntries(
    Object.entries(channels.value).map(([name, { kind, limitsDeg, marks, sounds }]) => [
      name,
      { part: KIND_WORDS[kind].part, limitsDeg, marks, sounds },
    ]),
  ),
  groups: groups.value,
  poses: Object.keys(recordOf(file.value?.data.poses)),
  cues: names.value,
  takes: Object.keys(recordOf(file.value?.data.takes)),
}));

// --- kept in this browser ---------------------------------------------------------------------------

const keyOf = (prop: string) => `sinew-desk/${prop}`;
let loadedFor = '';

interface KeptDraft {
  base?: Steps;
  steps: Steps;
}

/** Reads what was kept for the prop: unsaved work outlives a reload. */
function loadKept(prop: string): void {
  keeper.now();
  loadedFor = prop;
  const kept = recordOf(readKept(browserKept.getItem(keyOf(prop))));
  const found: Record<string, Draft> = {};
  for (const [name, one] of Object.entries(kept)) {
    const { base, steps: now } = recordOf(one);
    const list = stepsOf(now);
    if (!list || (base !== undefined && !stepsOf(base))) continue;
    found[name] = { base: base === undefined ? undefined : stepsOf(base), history: begin(list) };
  }
  drafts.value = found;
}

/** A drag changes the draft with every movement of the pointer. */
const keeper = new KeepLater(systemClock, keep);

/** Keeps the draft of one cue: another page of this browser may keep those of others. */
function keep(name: string): void {
  if (loadedFor === '') return;
  const { [name]: _, ...kept } = recordOf(readKept(browserKept.getItem(keyOf(loadedFor))));
  const draft = drafts.peek()[name];
  const isKept = draft && !same(draft.base, draft.history.now);
  const mine: KeptDraft | undefined = isKept
    ? { ...(draft.base && { base: draft.base }), steps: draft.history.now }
    : undefined;
  const all = mine ? { ...kept, [name]: mine } : kept;
  if (Object.keys(all).length === 0) browserKept.removeItem(keyOf(loadedFor));
  else browserKept.setItem(keyOf(loadedFor), JSON.stringify(all));
}

function setDraft(name: string, draft: Draft | undefined): void {
  const { [name]: _, ...others } = drafts.peek();
  drafts.value = draft ? { ...drafts.peek(), [name]: draft } : others;
  keeper.soon(name);
}

// --- changes ----------------------------------------------------------------------------------------

/**
 * Changes the steps on the desk.
 * @param gesture changes of one gesture, such as a drag, are undone together
 */
export function edit(to: Steps, gesture = ''): void {
  const name = cue.peek();
  if (!name) return;
  const draft = drafts.peek()[name];
  const of = changed(history.peek(), to, gesture);
  if (of === history.peek()) return;
  batch(() => {
    setDraft(name, { base: draft ? draft.base : inFile(name), history: of });
    // What was said was about the steps before.
    said.value = '';
  });
}

export function undo(): void {
  step(undone);
}

export function redo(): void {
  step(redone);
}

function step(by: (history: History) => History): void {
  const draft = drafts.peek()[cue.peek()];
  if (!draft) return;
  batch(() => {
    setDraft(cue.peek(), { ...draft, history: by(draft.history) });
    if (selected.peek() >= steps.peek().length) selected.value = -1;
  });
}

/** The cue that the address asks for, until it is on the desk. */
let wanted = '';

/** Puts a cue on the desk as soon as it is known. */
export function want(name: string): void {
  if (names.peek().includes(name)) {
    if (name !== cue.peek()) open(name);
  } else wanted = name;
}

/** Puts a cue on the desk. */
export function open(name: string): void {
  batch(() => {
    cue.value = name;
    selected.value = -1;
    moreRows.value = [];
    cursorS.value = 0;
  });
}

/** A name that no cue has. */
export function freeCueName(wanted = 'cue'): string {
  return freeName(wanted, new Set(names.peek()));
}

/** A new cue, here alone until it is saved. */
export function addCue(name: string, given: Steps): void {
  batch(() => {
    setDraft(name, { base: undefined, history: begin(given) });
    open(name);
    said.value = `${name} is on the desk. It is in the prop file once you save it.`;
  });
}

/** Forgets the changes of the cue on the desk. */
export function dropDraft(name = cue.peek()): void {
  batch(() => {
    setDraft(name, undefined);
    selected.value = -1;
    if (name === cue.peek() && !inFile(name)) open(names.peek()[0] ?? '');
  });
}

/** Goes on with one's own steps where somebody else has changed the cue as well. */
export function keepMine(): void {
  const draft = drafts.peek()[cue.peek()];
  if (draft) setDraft(cue.peek(), { ...draft, base: inFile(cue.peek()) });
}

/** Takes what somebody else has made of the cue; one's own can be had back by Undo. */
export function takeTheirs(): void {
  const name = cue.peek();
  const draft = drafts.peek()[name];
  const now = inFile(name);
  if (!draft) return;
  if (!now) dropDraft(name);
  else setDraft(name, { base: now, history: changed(draft.history, now) });
  selected.value = -1;
}

// --- the file ---------------------------------------------------------------------------------------

let reading = 0;

/** Reads the file again. */
export async function load(): Promise<void> {
  const mine = ++reading;
  try {
    const read = await call('prop.data', {});
    if (mine !== reading) return;
    batch(() => {
      file.value = read;
      problem.value = '';
      takeOver();
    });
  } catch (error) {
    if (!(error instanceof LinkGone) && mine === reading)
      problem.value = forPeople((error as Error).message);
  }
}

/** Drafts that nobody else's change touches go on from the new version. */
function takeOver(): void {
  for (const [name, draft] of Object.entries(drafts.peek())) {
    const now = inFile(name);
    const what = meet(draft.base, draft.history.now, now);
    if (what === 'take over') setDraft(name, undefined);
  }
  const all = names.peek();
  if (all.includes(wanted)) open(wanted);
  else if (!all.includes(cue.peek())) open(all[0] ?? '');
  wanted = '';
}

/** Follows the prop file while the view is shown, and keeps what is changed. Returns its end. */
export function watchFile(): () => void {
  const ends = [
    effect(() => {
      if (propName.value && propName.value !== loadedFor) loadKept(propName.value);
    }),
    effect(() => {
      void [fileNews.value, version.value];
      if (linkState.value === 'open') void load();
    }),
  ];
  const keepNow = () => keeper.now();
  addEventListener('pagehide', keepNow);
  document.addEventListener('visibilitychange', keepNow);
  return () => {
    for (const end of ends) end();
    keepNow();
    removeEventListener('pagehide', keepNow);
    document.removeEventListener('visibilitychange', keepNow);
  };
}

/** Requests up to this size are sent whole (characters); larger cues in the part that has changed. */
const WHOLE_CHARS = 30_000;

/** The steps to send for a cue: all of them, or only those that differ from the file where they are many. */
export function toSend(
  name: string,
  now: Steps,
): { steps: Record<string, unknown>[]; from?: number; count?: number } {
  const old = inFile(name);
  if (!old || JSON.stringify(now).length <= WHOLE_CHARS) return { steps: [...now] };
  const part = differing(old, now);
  return { ...part, steps: [...part.steps] };
}

async function writing(work: () => Promise<boolean>): Promise<boolean> {
  if (busy.peek()) return false;
  busy.value = true;
  said.value = '';
  try {
    return await work();
  } finally {
    busy.value = false;
  }
}

/** Writes the cue on the desk to the prop file. @returns whether it was written */
export function save(): Promise<boolean> {
  return writing(async () => {
    const name = cue.peek();
    const now = steps.peek();
    const before = file.peek()?.version ?? '';
    const idle = now.findIndex((one) => !acts(one));
    if (idle >= 0) {
      selected.value = idle;
      said.value = `Step ${idle + 1} does nothing yet: give it something to do, or remove it.`;
      return false;
    }
    const result = await writeChange(`cue ${name}`, before, 'cue.save', {
      cue: name,
      ...toSend(name, now),
      version: before,
    });
    if (!result) {
      said.value =
        'It was not saved; the reason stands above. Nothing is lost: your changes are kept here.';
      await load();
      return false;
    }
    batch(() => {
      said.value = `${name} is saved in the prop file.${result.pending ? ' It waits until the prop is parked.' : ''}`;
      // What was changed meanwhile is still to be saved; what was done before can still be undone.
      const draft = drafts.peek()[name];
      if (draft) setDraft(name, { ...draft, base: now });
    });
    await load();
    return true;
  });
}

/** Takes the cue on the desk out of the prop file. */
export function removeCue(): Promise<boolean> {
  return writing(async () => {
    const name = cue.peek();
    if (!inFile(name)) {
      dropDraft(name);
      return true;
    }
    const before = file.peek()?.version ?? '';
    const what = `the removal of cue ${name}`;
    const params = { cue: name, version: before };
    const result = await writeChange(what, before, 'cue.remove', params);
    if (!result) {
      said.value = 'It was not removed; the reason stands above.';
      await load();
      return false;
    }
    batch(() => {
      setDraft(name, undefined);
      said.value = `${name} is removed. Undo brings it back.`;
    });
    await load();
    return true;
  });
}

/**
 * Makes a pose of the prop as it stands.
 * @param only the channels; undefined for all
 */
export function capturePose(pose: string, only?: readonly string[]): Promise<boolean> {
  return writing(async () => {
    const before = file.peek()?.version ?? '';
    const params = only === undefined ? { pose } : { pose, channels: [...only] };
    const result = await writeChange(`pose ${pose}`, before, 'pose.capture', params);
    if (!result) {
      said.value = 'It was not captured; the reason stands above.';
      return false;
    }
    const left = result.left.map(({ channel, why }) => `${channel} (${forPeople(why)})`);
    said.value = `${pose} is captured: ${poseWords(result.values)}.${left.length > 0 ? ` Left out: ${left.join(', ')}.` : ''}`;
    await load();
    return true;
  });
}

/** The values of a pose in words: `beak shut, head_turn 12.5°`. */
export function poseWords(values: unknown): string {
  return Object.entries(recordOf(values))
    .map(([name, to]) => {
      const isAngle = typeof to === 'number' && channels.peek()[name]?.limitsDeg !== undefined;
      return `${name} ${isAngle ? `${withMinus(to)}°` : String(to)}`;
    })
    .join(', ');
}

/** Takes the change back that was saved last. */
export function undoSaved(): Promise<boolean> {
  return writing(async () => {
    const what = lastChange.peek()?.what;
    const result = await undoLast();
    said.value = result ? `Undone: ${what}.` : 'Nothing was undone; the reason stands above.';
    await load();
    return result !== undefined;
  });
}

// --- rehearsed while it is edited -------------------------------------------------------------------

export type Rehearsed = Result<'cue.rehearse'>;

/** The last answer, and the steps that it is of. */
const answered = signal<{ cue: string; steps: Steps; of: Rehearsed } | undefined>(undefined);
/** Why there is no answer. */
const unanswered = signal({ cue: '', why: '' });

/** The last rehearsal of the cue on the desk. */
export const rehearsed = computed(() =>
  answered.value?.cue === cue.value ? answered.value : undefined,
);
/** Why the cue on the desk could not be rehearsed. */
export const notRehearsed = computed(() =>
  unanswered.value.cue === cue.value ? unanswered.value.why : '',
);
/** The rehearsal is of the steps as they are now. */
export const isFresh = computed(
  () => rehearsed.value !== undefined && same(rehearsed.value.steps, steps.value),
);

/** A cue without an end is rehearsed for this long (s). */
const LONGEST_S = 120;
/** What is over in a moment. */
const BUSY: readonly RefusalCode[] = [
  'service.busy',
  'service.dead',
  'service.late',
  'cue.newer-question',
  'request.unanswered',
];

/** Rehearses a moment after each change, one at a time. To be called while the desk is shown. */
export function watchRehearsal(): () => void {
  const rehearser = new Rehearser<Rehearsed>({
    clock: systemClock,
    wanted: () => {
      const at = file.peek()?.version;
      if (!cue.peek() || at === undefined || linkState.peek() !== 'open') return undefined;
      // A cue without steps is nothing to rehearse.
      if (steps.peek().length === 0) return undefined;
      return { cue: cue.peek(), steps: steps.peek(), version: at };
    },
    ask: ({ cue: name, steps: now }) =>
      call('cue.rehearse', { cue: name, ...toSend(name, now), longestS: LONGEST_S }),
    done: ({ cue: name, steps: now }, of) =>
      batch(() => {
        answered.value = { cue: name, steps: now, of };
        unanswered.value = { cue: name, why: '' };
      }),
    failed: ({ cue: name }, error) => {
      // A link that is back has it asked again.
      if (!(error instanceof LinkGone))
        unanswered.value = { cue: name, why: forPeople(error.message) };
    },
    isBusy: (error) => BUSY.some((code) => isRefusal(error, code)),
  });
  const stop = effect(() => {
    void [steps.value, cue.value, file.value?.version, linkState.value];
    if (steps.value.length === 0) answered.value = undefined;
    else rehearser.changed(answered.peek() === undefined);
  });
  return () => {
    stop();
    rehearser.end();
  };
}

/**
 * How long each step of the desk took when it was rehearsed (s). While the rehearsal is of earlier steps,
 * those that are the same objects are looked up in it.
 */
export const tookS = computed<(number | null | undefined)[]>(() => {
  const done = rehearsed.value;
  if (!done) return [];
  const took = new Map<Step | string, number | null>();
  for (const [at, one] of done.steps.entries()) {
    const { startS, endS } = done.of.steps[at] ?? { startS: null, endS: null };
    const length = startS === null || endS === null ? null : endS - startS;
    took.set(one, length);
    took.set(lengthsOf(one), length);
  }
  return steps.value.map((one) => took.get(one) ?? took.get(lengthsOf(one)));
});

/** All that a step's length hangs on, but for where it stands. */
const lengthsOf = ({ at: _, name: _name, after: _after, ...rest }: Step): string =>
  JSON.stringify(rest);

export const times = computed(() => timesOf(steps.value, tookS.value));
export const rows = computed(() => rowsOf(steps.value, moreRows.value));

/** Whether the cue runs on the prop now. */
export const running = computed(() => cueList.value.cues[cue.value]?.running === true);
