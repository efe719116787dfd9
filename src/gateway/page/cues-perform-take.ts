import { batch, computed, effect, signal } from '@preact/signals';
import { systemClock } from '../../shared/clock.ts';
import { recordOf, stepsOf } from './cues-model.ts';
import { arm, onGrab, usable } from './cues-perform-data.ts';
import { type Recorded, RecordingLook } from './cues-perform-look.ts';
import { usualTrim } from './cues-perform-map.ts';
import { AS_IT_IS, AS_RECORDED, type Changes, wantedOf } from './cues-take-change.ts';
import { forPeople } from './for-people.ts';
import { call, LinkGone, linkState } from './link.ts';
import { isRefusal } from './refusal.ts';
import { ask, channels, cueList, write } from './store.ts';

/** A recording on its way to a take: begun, ended, looked at, trimmed, saved. */

/** The recording under way, or the last one, as the daemon has it. */
export const recording = signal<Recorded | undefined>(undefined);
/** It begins when a hand takes hold. */
export const waiting = signal(false);
export const recordSaid = signal('');
/** The servos that are recorded; none chosen means all that are led. */
export const chosen = signal<readonly string[]>([]);
/** What runs meanwhile: a cue, or `/CHANNEL/SOUND`; empty for nothing. */
export const over = signal('');
/** It begins when a hand takes hold, and not at once. */
export const fromGrab = signal(true);
export const trim = signal<readonly [number, number]>([0, 0]);
/** What becomes of it before it is saved. */
export const changes = signal<Changes>(AS_RECORDED);
/** What is looked at: a take of the prop; empty for the recording. */
export const picked = signal('');
/** The take that is looked at. */
const listed = signal<Recorded | undefined>(undefined);
/** The name under which the last recording was saved. */
export const savedAs = signal('');
/** The name under which something was saved last from here. */
const justSaved = signal('');
/** The cue into which it was put. */
export const playedIn = signal('');
/** There is a take of this name: it may be replaced. */
export const taken = signal('');

/** What the next recording records. */
export const toRecord = computed(() => {
  const names = usable.value.map(({ channel }) => channel);
  const some = names.filter((name) => chosen.value.includes(name));
  return some.length > 0 ? some : names;
});

/** What can be changed and saved now. */
export const reviewed = computed(() => {
  if (picked.value !== '') return listed.value;
  return recording.value?.recording === false ? recording.value : undefined;
});
/** The take that can be put into a cue. */
export const toPlay = computed(() => (picked.value === '' ? savedAs.value : justSaved.value));

/** A sound on its channel. */
type PlayedSound = NonNullable<Recorded['sound']>;

/** Sounds that can play meanwhile. */
export const sounds = computed(() =>
  Object.entries(channels.value).flatMap(([channel, { sounds: names = [] }]) =>
    names.map((sound) => ({ channel, sound })),
  ),
);

/** What `over` stands for, as the daemon is asked for it. */
export const meanwhile = computed((): { over?: string; sound?: PlayedSound } => {
  const [cue, channel, sound] = over.value.split('/');
  if (channel !== undefined && sound !== undefined) return { sound: { channel, sound } };
  return cue ? { over: cue } : {};
});

export const cueNames = computed(() => Object.keys(cueList.value.cues));

const looker = new RecordingLook({
  clock: systemClock,
  read: (asItIs) =>
    call(
      'take.read',
      // While a take of the prop is looked at, the changes are for that.
      asItIs || picked.peek() !== ''
        ? wantedOf('', AS_RECORDED)
        : wantedOf('', changes.peek(), trim.peek()),
    ),
  seen: (now) => {
    recording.value = now;
    savedAs.value = now?.saved ?? '';
  },
  over: (now) => {
    // It is what one wants to see next.
    picked.value = '';
    changes.value = AS_RECORDED;
    trim.value = usualTrim(now);
  },
  gone: () => {
    recordSaid.value = 'The recording is gone: the daemon has started again meanwhile.';
  },
  failed: (error) => {
    // It is looked at again when the link is back.
    if (!(error instanceof LinkGone)) recordSaid.value = forPeople(error.message);
  },
});

/** Reads again what is looked at, and what would be saved of it. */
export const look = (): Promise<void> => (picked.peek() === '' ? looker.look() : readListed());

/** Counts up: the answer to an earlier question is void. */
let asked = 0;

async function readListed(isFirst = false): Promise<void> {
  const take = picked.peek();
  const mine = ++asked;
  try {
    const now = await call(
      'take.read',
      wantedOf(take, changes.peek(), isFirst ? undefined : trim.peek()),
    );
    if (mine !== asked || picked.peek() !== take) return;
    batch(() => {
      listed.value = now;
      if (isFirst) trim.value = [0, now.durationS];
    });
  } catch (error) {
    if (mine === asked && !(error instanceof LinkGone))
      recordSaid.value = forPeople((error as Error).message);
  }
}

/** Looks at a take of the prop, or at the recording, without changes. */
export async function pick(take: string): Promise<void> {
  batch(() => {
    picked.value = take;
    recordSaid.value = '';
    taken.value = '';
    justSaved.value = '';
    playedIn.value = '';
    listed.value = undefined;
  });
  await asItWas();
}

/** Takes all changes back. */
export async function asItWas(): Promise<void> {
  const isRecording = picked.peek() === '';
  changes.value = isRecording ? AS_RECORDED : AS_IT_IS;
  const now = recording.peek();
  if (isRecording && now) trim.value = usualTrim(now);
  await (isRecording ? looker.look() : readListed(true));
}

/** Changes what is looked at, and shows what becomes of it. */
export function change(more: Changes): void {
  changes.value = { ...changes.peek(), ...more };
  void look();
}

/** Whether a recording is still under way is not known while the link is lost. */
export const isUnsure = computed(() => linkState.value !== 'open');

/** Looks at the recording while it is shown, and again whenever the link is back. Returns its end. */
export function watchRecording(): () => void {
  const stop = effect(() => {
    if (linkState.value === 'open') {
      void looker.look(true);
      if (picked.peek() !== '') void readListed(listed.peek() === undefined);
    } else waiting.value = false;
  });
  return () => {
    stop();
    looker.end();
    waiting.value = false;
  };
}

/** Begins at once, or lets the first grip begin it. */
export async function record(): Promise<void> {
  recordSaid.value = '';
  arm(true);
  if (fromGrab.peek()) waiting.value = true;
  else await begin();
}

onGrab.add(() => {
  if (!waiting.peek()) return;
  waiting.value = false;
  void begin();
});

export function waitNoMore(): void {
  waiting.value = false;
}

async function begin(): Promise<void> {
  const named = [...toRecord.peek()];
  const of = { channels: named, ...meanwhile.peek() };
  const begun = await ask('take.begin', of);
  if (!begun) return;
  savedAs.value = '';
  playedIn.value = '';
  taken.value = '';
  looker.begun({ recording: true, samples: 1, durationS: 0, ...of });
  await looker.look();
}

export async function endRecording(): Promise<void> {
  await ask('take.end', {});
  await looker.look();
}

/** When the take begins in a cue (s): where it was performed, or at the beginning of another one. */
export function beginsAt(cue: string): number {
  if (picked.peek() !== '') return 0;
  const { over: under, sound } = recording.peek() ?? {};
  return sound || under === cue ? trim.peek()[0] : 0;
}

/** Channels of the take that a cue moves by itself as well. */
export function movedTwice(cue: string): string[] {
  const uses = cueList.value.cues[cue]?.uses?.channels ?? [];
  return reviewed.value?.channels.filter((channel) => uses.includes(channel)) ?? [];
}

/** Puts the saved take into a cue, a new one where there is none of this name; then passes go over that. */
export async function playIn(cue: string): Promise<void> {
  const take = toPlay.peek();
  const sound = picked.peek() === '' ? recording.peek()?.sound : undefined;
  try {
    const { data, version } = await call('prop.data', {});
    const cues = recordOf(data.cues);
    const isNew = !Object.hasOwn(cues, cue);
    const steps = [
      // A new cue plays the sound that was performed to as well; another one may have it already.
      ...(isNew && sound ? [{ at: 0, sound: { [sound.channel]: sound.sound } }] : []),
      { at: beginsAt(cue), take },
    ];
    const place = isNew ? {} : { from: stepsOf(cues[cue])?.length ?? 0, count: 0 };
    const saved = await write(`cue ${cue}`, 'cue.save', { cue, steps, ...place, version });
    if (!saved) return;
    batch(() => {
      recordSaid.value = `Cue ${cue} plays take ${take}${saved.pending ? ', once the prop is parked' : ''}. Choose it above for the next pass.`;
      playedIn.value = cue;
      over.value = cue;
    });
  } catch (error) {
    recordSaid.value = forPeople((error as Error).message);
  }
}

/** Keeps it under a name: always as a file of its own. */
export async function save(name: string, replace = false): Promise<void> {
  taken.value = '';
  recordSaid.value = '';
  const take = picked.peek();
  try {
    const saved = await call('take.save', {
      ...wantedOf(take, changes.peek(), trim.peek()),
      name,
      ...(replace && { replace }),
    });
    batch(() => {
      if (take === '') savedAs.value = saved.name;
      justSaved.value = saved.name;
      playedIn.value = '';
      recordSaid.value = `Saved as take ${saved.name}: ${saved.durationS} s, ${saved.points} points${saved.pending ? '. It can be used once the prop is parked.' : '.'}`;
    });
  } catch (error) {
    if (isRefusal(error, 'take.name-taken')) taken.value = name;
    recordSaid.value = forPeople((error as Error).message);
  }
}
