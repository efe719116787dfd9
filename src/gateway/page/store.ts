import { batch, computed, type Signal, signal } from '@preact/signals';
import type { Notice } from '../../api/client.ts';
import type { Method, Params, Result } from '../../api/methods.ts';
import type { NoticeParams } from '../../api/notifications.ts';
import type {
  ChannelInfo,
  ChannelState,
  JournalEntry,
  LockoutInfo,
  SenseState,
} from '../../api/types.ts';
import type { Condition } from '../../shared/condition.ts';
import type { What } from '../../shared/journal.ts';
import {
  OUTCOME_PAUSE_MS,
  OUTCOME_WAIT_MS,
  type Writing,
  writeOutcomeOf,
  writeOutcomeText,
} from '../../shared/write-outcome.ts';
import { takeNews } from './file-news.ts';
import { forPeople } from './for-people.ts';
import { clockTime, ofThisRun, withEntry } from './journal.ts';
import { call, LinkGone, linkTimeoutMs, type Opened, startLink } from './link.ts';
import type { SenseReading } from './sense-walk.ts';
import { me } from './who.ts';

/** What the page knows of the prop: filled by the daemon's notifications, read by every view. */

const FOLLOW_HZ = 20;
const JOURNAL_KEPT = 200;

export type RailState = NoticeParams<'state'>['rails'][string];

export const propName = signal('');
/** Version of the prop file that is in use: what is read of the prop is read again when it changes. */
export const version = signal('');
export const condition = signal<Condition>('parked');
/** The daemon has described the prop; before that nothing is claimed about it. */
export const known = signal(false);
/** Why the prop is in its condition. */
export const cause = signal<NoticeParams<'condition'>['cause'] | undefined>(undefined);
/** Who asks the holder for control. */
export const asks = signal<readonly string[]>([]);
/** The holder has handed over, and the prop waits for the next one. */
export const handover = signal<NoticeParams<'state'>['handover']>(undefined);
/** The daemon's time (s), to a tenth. */
export const nowS = signal(0);
/** Names of the channels that move or fade now, in the order of the prop file. */
export const moving = signal<readonly string[]>([]);
/** How many servos have pulses, of how many. */
export const servosAwake = signal({ awake: 0, of: 0 });
/** At rest, but not parked: why. */
export const notParked = signal<string | undefined>(undefined);
/** Name of the client that holds the lease. */
export const holder = signal<string | null>(null);
/** Who has hands in the prop; null when nobody has. */
export const lockout = signal<LockoutInfo | null>(null);
/** Who has armed the prop for its show; undefined where nobody has. */
export const armedForShow = signal<string | undefined>(undefined);
/** Names of the guards that are broken. */
export const brokenGuards = signal('');
/** This page holds the lease. */
export const holding = computed(() => holder.value === me.value);
export const live = computed(() => condition.value === 'live');
/** This page may move things now. */
export const commanding = computed(() => holding.value && live.value);

/** What does not change from tick to tick: limits, marks, groups. Read again with every version. */
export const channels = signal<Record<string, ChannelInfo>>({});
/** The prop has no channels yet. */
export const isEmpty = computed(
  () => version.value !== '' && Object.keys(channels.value).length === 0,
);
export const groups = signal<Record<string, string[]>>({});
export const poses = signal<string[]>([]);
export const rails = signal<Record<string, Signal<RailState>>>({});
/** What is measured. */
export const senses = signal<Record<string, SenseState>>({});
/** Why the prop does not wake, by what is measured: one sentence for each; empty where nothing is low. */
export const lowSenses = computed(() =>
  Object.values(senses.value)
    .flatMap(({ low }) => low ?? [])
    .join('; '),
);
/** Cues, idle behaviours and triggers, and which of them run. */
export const cueList = signal<Result<'cue.list'>>({
  cues: {},
  idle: {},
  triggers: { names: [], armed: false },
});
export const journal = signal<JournalEntry[]>([]);
/** What came into the journal last, since the page was opened. */
export const lastEvent = signal<JournalEntry | undefined>(undefined);
/** Counts up with every state of the prop that came in. */
export const frames = signal(0);
/** What the daemon last refused, or what went wrong, in words. */
export const trouble = signal('');
/** The refusal behind `trouble`, for those who look further into it. */
export const refused = signal<unknown>(undefined);

/** Shows why something was not done. */
export function refuse(error: unknown): void {
  batch(() => {
    refused.value = error;
    trouble.value = forPeople((error as Error).message);
  });
}

const states = new Map<string, Signal<ChannelState>>();
const UNKNOWN: ChannelState = { value: 0, target: 0, flags: [], amps: 0 };

/** The live state of a channel; the same signal for every caller. */
export function stateOf(name: string): Signal<ChannelState> {
  let state = states.get(name);
  if (!state) {
    state = signal(UNKNOWN);
    states.set(name, state);
  }
  return state;
}

/** What the states become once the channels of a new version are known: a lamp may be a servo then. */
let held: Record<string, ChannelState> | undefined;

function onNotice(notice: Notice): void {
  if (notice.method === 'state') takeState(notice.params);
  else if (notice.method === 'event') takeEvent(notice.params.entry);
  else if (notice.method === 'prop.changed') takeChange(notice.params);
  else if (notice.method === 'condition')
    batch(() => {
      condition.value = notice.params.condition;
      cause.value = notice.params.cause;
      if (condition.value !== 'parked') notParked.value = undefined;
    });
}

/** Another version of the prop file is in use, or the file on the disk stands otherwise to it. */
function takeChange({
  version: now,
  prop,
  linkTimeoutMs: timeoutMs,
  ...news
}: NoticeParams<'prop.changed'>): void {
  batch(() => {
    propName.value = prop;
    linkTimeoutMs.value = timeoutMs;
    takeNews(news, commanding.peek());
  });
  if (now === version.peek()) return;
  held ??= {};
  void renew(now);
}

let renewing = false;
let newest = '';

/** Reads everything that hangs on the version of the prop file, as often as that changes meanwhile. */
async function renew(now: string): Promise<void> {
  newest = now;
  if (renewing) return;
  renewing = true;
  try {
    while (version.peek() !== newest) {
      const reading = newest;
      await refresh();
      await refreshCues();
      version.value = reading;
    }
  } catch (error) {
    // A link that is lost meanwhile says so by itself; all is read again when it is back.
    if (!(error instanceof LinkGone)) trouble.value = forPeople((error as Error).message);
  } finally {
    renewing = false;
    const states = held ?? {};
    held = undefined;
    batch(() => showStates(states));
  }
}

function showStates(shown: Record<string, ChannelState>): void {
  for (const [name, state] of Object.entries(shown)) stateOf(name).value = state;
  showSums();
}

/** What is told of all channels together; it changes only where it says something else. */
function showSums(): void {
  const names: string[] = [];
  let awake = 0;
  let of = 0;
  for (const [name, { limitsDeg }] of Object.entries(channels.peek())) {
    const { flags } = stateOf(name).peek();
    if (flags.includes('moving')) names.push(name);
    if (limitsDeg === undefined) continue;
    of++;
    if (!flags.includes('released')) awake++;
  }
  if (names.join() !== moving.peek().join()) moving.value = names;
  const { awake: was, of: all } = servosAwake.peek();
  if (was !== awake || all !== of) servosAwake.value = { awake, of };
}

/** The rails as they are told; their signals stay as long as names and limits do. */
function showRails(states: Record<string, RailState>): void {
  const known = rails.peek();
  const names = Object.keys(states);
  const same =
    names.length === Object.keys(known).length &&
    names.every((name) => known[name]?.peek().limitA === states[name]!.limitA);
  if (!same)
    rails.value = Object.fromEntries(
      Object.entries(states).map(([name, rail]) => [name, signal(rail)]),
    );
  else
    for (const [name, rail] of Object.entries(states))
      if (isOther(known[name]!.peek(), rail)) known[name]!.value = rail;
}

function isOther(was: RailState, is: RailState): boolean {
  const parts = ({ battery, ...rail }: RailState) => Object.values({ ...rail, ...battery }).join();
  return parts(was) !== parts(is);
}

let stateMs = Number.NEGATIVE_INFINITY;

/** What a sense's board reads (A or V), and how old that is by now (s); undefined where it reads nothing. */
export function readingOf(sense: string): SenseReading | undefined {
  const { raw, ageS } = senses.peek()[sense] ?? {};
  if (raw === undefined || ageS === undefined) return undefined;
  return { raw, ageS: ageS + (performance.now() - stateMs) / 1000 };
}

function takeState(frame: NoticeParams<'state'>): void {
  stateMs = performance.now();
  // Nothing runs on when the prop parks or stops.
  if (frame.condition !== condition.peek()) void refreshCues();
  batch(() => {
    condition.value = frame.condition;
    notParked.value = frame.notParked;
    holder.value = frame.holder;
    known.value = true;
    nowS.value = Math.floor(frame.t * 10) / 10;
    if (JSON.stringify(cause.peek()) !== JSON.stringify(frame.cause)) cause.value = frame.cause;
    if (asks.peek().join() !== (frame.asks ?? []).join()) asks.value = frame.asks ?? [];
    if (handover.peek()?.untilS !== frame.handover?.untilS) handover.value = frame.handover;
    if (JSON.stringify(lockout.peek()) !== JSON.stringify(frame.lockout ?? null))
      lockout.value = frame.lockout ?? null;
    armedForShow.value = frame.armedForShow;
    brokenGuards.value = (frame.guards ?? []).map((guard) => guard.name).join(', ');
    if (held) Object.assign(held, frame.channels);
    else showStates(frame.channels);
    showRails(frame.rails);
    if (frame.senses || Object.keys(senses.peek()).length > 0) senses.value = frame.senses ?? {};
    frames.value++;
  });
}

/** Events after which other cues run than before, or the triggers are armed or not. */
const CHANGES_CUES: ReadonlySet<What> = new Set<What>([
  'cue',
  'idle.start',
  'idle.stop',
  'trigger.arm',
  'lease',
]);

let lookAgain: ReturnType<typeof setTimeout> | undefined;
const LOOK_AGAIN_MS = 300;

function takeEvent(entry: JournalEntry): void {
  journal.value = withEntry(journal.value, entry, JOURNAL_KEPT);
  lastEvent.value = entry;
  if (!CHANGES_CUES.has(entry.what)) return;
  void refreshCues();
  // The event comes a moment before the list of what runs, and on a busy board the answer between them.
  clearTimeout(lookAgain);
  lookAgain = setTimeout(() => void refreshCues(), LOOK_AGAIN_MS);
}

async function onOpen(result: Opened): Promise<void> {
  const hadControl = holding.peek();
  propName.value = result.prop;
  // The first state comes later, and never where every place is taken.
  condition.value = result.condition;
  known.value = true;
  notParked.value = result.notParked;
  // What this page had, its earlier session had.
  holder.value = null;
  version.value = '';
  takeNews(result.file ?? { changed: [] });
  if (result.only) {
    trouble.value =
      'Every place is taken: this page can stop and park the prop, and nothing else. Close another page or session, then load this one again.';
    return;
  }
  try {
    await renew(result.version);
    const read = await call('journal.read', {
      limit: JOURNAL_KEPT,
    });
    journal.value = read.entries;
    const loss = announceLoss(hadControl);
    await call('state.follow', { hz: FOLLOW_HZ, journal: true });
    await refreshCues();
    await announceWriteOutcome(loss);
  } catch (error) {
    // A link that is lost meanwhile says so by itself, and is opened again.
    if (!(error instanceof LinkGone)) trouble.value = forPeople((error as Error).message);
  }
}

/** When control was lost with the link: the time in the daemon's journal. */
let announcedLoss = '';

/**
 * Says that control was lost with the link, and when, once the link is back: a page that was frozen or
 * hidden could not say so meanwhile. Returns what it says.
 */
function announceLoss(hadControl: boolean): string {
  const lost = ofThisRun(journal.peek()).findLast(
    ({ what, values }) => what === 'link lost' && values?.client === me.peek(),
  );
  const isNew = lost !== undefined && lost.time !== announcedLoss;
  if (!isNew && !hadControl) return '';
  if (isNew) announcedLoss = lost.time;
  // Without an entry the daemon may have ended, and then nothing parked.
  const text = isNew
    ? `The link was lost at ${clockTime.format(new Date(lost.time))}, while this page had control. If the prop was live, it began to park by itself.`
    : 'The link was lost while this page had control.';
  trouble.value = `${text} Look at the prop before you take control again.`;
  return trouble.value;
}

/** Reads limits, marks, groups and poses again. */
export async function refresh(): Promise<void> {
  const list = await call('channel.list', {});
  batch(() => {
    // Views never meet a channel whose state is not known, or is that of another kind.
    for (const [name, info] of Object.entries(list.channels)) {
      const state = stateOf(name);
      const before = channels.peek()[name];
      if (state.value === UNKNOWN || (before && before.kind !== info.kind))
        state.value = { ...info, amps: 0 };
    }
    for (const name of [...states.keys()]) if (!list.channels[name]) states.delete(name);
    channels.value = list.channels;
    groups.value = list.groups;
    poses.value = list.poses;
  });
}

let readingCues = false;
let cuesAreOld = false;

/** Reads again which cues run: one request at a time, however many events there are. */
async function refreshCues(): Promise<void> {
  cuesAreOld = true;
  if (readingCues) return;
  readingCues = true;
  try {
    while (cuesAreOld) {
      cuesAreOld = false;
      cueList.value = await call('cue.list', {});
    }
  } catch (error) {
    if (!(error instanceof LinkGone)) trouble.value = forPeople((error as Error).message);
  } finally {
    readingCues = false;
  }
}

/** Asks the daemon for something and shows its reason when it refuses. */
export async function ask<M extends Method>(
  method: M,
  params: Params<M>,
): Promise<Result<M> | undefined> {
  try {
    const result = await call(method, params);
    trouble.value = '';
    return result;
  } catch (error) {
    refuse(error);
    return undefined;
  }
}

/** The change of the prop file that is under way, or was when the link went. */
let writing: Writing | undefined;

/**
 * As `ask`, for what writes to the prop file. Where the link goes before the answer, this page says
 * what became of it once the link is back.
 * @param what in words: `mark open of beak`
 */
export async function write<M extends Method>(
  what: string,
  method: M,
  params: Params<M>,
): Promise<Result<M> | undefined> {
  writing = { what, version: version.peek() };
  try {
    const result = await call(method, params);
    writing = undefined;
    trouble.value = '';
    return result;
  } catch (error) {
    refuse(error);
    if (!(error instanceof LinkGone)) writing = undefined;
    return undefined;
  }
}

/** @param before the text in front of that */
async function announceWriteOutcome(before: string): Promise<void> {
  const lost = writing;
  if (!lost) return;
  const startMs = performance.now();
  for (;;) {
    const { versions } = await call('prop.history', {});
    const outcome = writeOutcomeOf(lost, versions, me.peek());
    // A slow disk may still be writing.
    if (outcome !== 'not written' || performance.now() - startMs >= OUTCOME_WAIT_MS) {
      if (writing === lost) writing = undefined;
      const text = `The link was lost meanwhile: ${writeOutcomeText(lost.what, outcome)}.`;
      trouble.value = `${before} ${text}`.trim();
      return;
    }
    await new Promise((resume) => setTimeout(resume, OUTCOME_PAUSE_MS));
  }
}

/** Opens the link to the daemon and keeps the signals of this file up to date from it. */
export function startStore(): void {
  startLink(onNotice, (result) => void onOpen(result));
}
