import { batch, computed, effect, signal } from '@preact/signals';
import { systemClock } from '../../shared/clock.ts';
import { recordOf, stepsOf } from './cues-model.ts';
import { arm, onGrab, usable } from './cues-perform-data.ts';
import { type Recorded, RecordingLook } from './cues-perform-look.ts';
import { usualTrim } from './cues-perform-map.ts';
import { forPeople } from './for-people.ts';
import { call, LinkGone, linkState } from './link.ts';
import { isRefusal } from './refusal.ts';
import { ask, cueList, write } from './store.ts';

/** A recording on its way to a take: begun, ended, looked at, trimmed, saved. */

/** The recording under way, or the last one, as the daemon has it. */
export const recording = signal<Recorded | undefined>(undefined);
/** It begins when a hand takes hold. */
export const waiting = signal(false);
export const recordSaid = signal('');
/** The servos that are recorded; none chosen means all that are led. */
export const chosen = signal<readonly string[]>([]);
export const over = signal('');
/** It begins when a hand takes hold, and not at once. */
export const fromGrab = signal(true);
export const trim = signal<readonly [number, number]>([0, 0]);
export const toleranceDeg = signal(0.5);
/** The name under which the last recording was saved. */
export const savedAs = signal('');
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

export const cueNames = computed(() => Object.keys(cueList.value.cues));

const looker = new RecordingLook({
  clock: systemClock,
  read: (asItIs) =>
    call('take.read', {
      toleranceDeg: toleranceDeg.peek(),
      ...(!asItIs && { trim: [...trim.peek()] as [number, number] }),
    }),
  seen: (now) => {
    recording.value = now;
    savedAs.value = now?.saved ?? '';
  },
  over: (now) => {
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

/** Reads how the recording stands, and what would be saved of it once it has ended. */
export const look = (): Promise<void> => looker.look();

/** Whether a recording is still under way is not known while the link is lost. */
export const isUnsure = computed(() => linkState.value !== 'open');

/** Looks at the recording while it is shown, and again whenever the link is back. Returns its end. */
export function watchRecording(): () => void {
  const stop = effect(() => {
    if (linkState.value === 'open') void looker.look(true);
    else waiting.value = false;
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
  const cue = over.peek();
  const channels = [...toRecord.peek()];
  const begun = await ask('take.begin', { channels, ...(cue !== '' && { over: cue }) });
  if (!begun) return;
  savedAs.value = '';
  playedIn.value = '';
  taken.value = '';
  looker.begun({
    ...{ recording: true, samples: 1, durationS: 0, channels },
    ...(cue !== '' && { over: cue }),
  });
  await look();
}

export async function endRecording(): Promise<void> {
  await ask('take.end', {});
  await look();
}

/** When the take begins in a cue (s): where it was performed, or at the beginning of another one. */
export function beginsAt(cue: string): number {
  return recording.peek()?.over === cue ? trim.peek()[0] : 0;
}

/** Channels of the recording that a cue moves by itself as well. */
export function movedTwice(cue: string): string[] {
  const uses = cueList.value.cues[cue]?.uses?.channels ?? [];
  return recording.value?.channels.filter((channel) => uses.includes(channel)) ?? [];
}

/** Puts the saved take into a cue, a new one where there is none of this name; then passes go over that. */
export async function playIn(cue: string): Promise<void> {
  const take = savedAs.peek();
  try {
    const { data, version } = await call('prop.data', {});
    const cues = recordOf(data.cues);
    const steps = [{ at: beginsAt(cue), take }];
    const isNew = !Object.hasOwn(cues, cue);
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

/** Keeps it under a name. */
export async function save(name: string, replace = false): Promise<void> {
  taken.value = '';
  recordSaid.value = '';
  const [from, to] = trim.peek();
  try {
    const saved = await call('take.save', {
      ...{ name, trim: [from, to] as [number, number], toleranceDeg: toleranceDeg.peek() },
      ...(replace && { replace }),
    });
    savedAs.value = saved.name;
    playedIn.value = '';
    recordSaid.value = `Saved as take ${saved.name}: ${saved.durationS} s, ${saved.points} points${saved.pending ? '. It can be used once the prop is parked.' : '.'}`;
  } catch (error) {
    if (isRefusal(error, 'take.name-taken')) taken.value = name;
    recordSaid.value = forPeople((error as Error).message);
  }
}
