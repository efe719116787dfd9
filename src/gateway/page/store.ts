import { batch, computed, type Signal, signal } from '@preact/signals';
import type { Condition } from '../../core/condition.ts';
import type { ChannelInfo, ChannelState, JournalEntry, Requests } from '../../core/requests.ts';
import { withEntry } from './journal.ts';
import { call, clientName, LinkGone, type OpenResult, startLink } from './link.ts';

/** What the page knows of the prop: filled by the daemon's notifications, read by every view. */

const FOLLOW_HZ = 20;
const JOURNAL_KEPT = 200;

export interface RailState {
  amps: number;
  limitA: number;
}

export const propName = signal('');
export const condition = signal<Condition>('parked');
/** Name of the client that holds the lease. */
export const holder = signal<string | null>(null);
/** This page holds the lease. */
export const holding = computed(() => holder.value === clientName);
export const live = computed(() => condition.value === 'live');
/** This page may move things now. */
export const commanding = computed(() => holding.value && live.value);

/** What does not change from tick to tick: limits, marks, groups. Read anew after a capture. */
export const channels = signal<Record<string, ChannelInfo>>({});
export const groups = signal<Record<string, string[]>>({});
export const poses = signal<string[]>([]);
export const rails = signal<Record<string, Signal<RailState>>>({});
/** Cues, idle behaviours and triggers, and which of them run. */
export const cueList = signal<Requests['cue.list']['result']>({
  cues: {},
  idle: {},
  triggers: { names: [], armed: false },
});
export const journal = signal<JournalEntry[]>([]);
/** What the daemon last refused, or what went wrong, in words. */
export const trouble = signal('');

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

interface StateParams {
  condition: Condition;
  holder: string | null;
  channels: Record<string, ChannelState>;
  rails: Record<string, RailState>;
}

function onNotice(method: string, params: never): void {
  if (method === 'state') takeState(params as StateParams);
  else if (method === 'event') takeEvent((params as { entry: JournalEntry }).entry);
}

function takeState(frame: StateParams): void {
  // Nothing runs on when the prop parks or stops.
  if (frame.condition !== condition.peek()) void refreshCues();
  batch(() => {
    condition.value = frame.condition;
    holder.value = frame.holder;
    for (const [name, state] of Object.entries(frame.channels)) stateOf(name).value = state;
    for (const [name, rail] of Object.entries(frame.rails)) {
      const known = rails.value[name];
      if (!known) rails.value = { ...rails.value, [name]: signal(rail) };
      else if (known.value.amps !== rail.amps) known.value = rail;
    }
  });
}

/** Events after which other cues run than before, or the triggers are armed or not. */
const CHANGES_CUES: ReadonlySet<string> = new Set([
  'cue',
  'idle.start',
  'idle.stop',
  'trigger.arm',
  'lease',
]);

function takeEvent(entry: JournalEntry): void {
  journal.value = withEntry(journal.value, entry, JOURNAL_KEPT);
  // Somebody captured something, here or elsewhere.
  if (entry.what.includes('capture')) void refresh();
  if (CHANGES_CUES.has(entry.what)) void refreshCues();
}

async function onOpen(result: OpenResult): Promise<void> {
  propName.value = result.prop;
  try {
    await refresh();
    const read = await call<Requests['journal.read']['result']>('journal.read', {
      limit: JOURNAL_KEPT,
    });
    journal.value = read.entries;
    await call('state.follow', { hz: FOLLOW_HZ, journal: true });
    await refreshCues();
  } catch (error) {
    // A link that is lost meanwhile says so by itself, and is opened anew.
    if (!(error instanceof LinkGone)) trouble.value = (error as Error).message;
  }
}

/** Reads limits, marks, groups and poses anew. */
export async function refresh(): Promise<void> {
  const list = await call<Requests['channel.list']['result']>('channel.list');
  batch(() => {
    // Views never meet a channel whose state is not known.
    for (const [name, info] of Object.entries(list.channels)) {
      const state = stateOf(name);
      if (state.value === UNKNOWN) state.value = { ...info, amps: 0 };
    }
    channels.value = list.channels;
    for (const [name, { value, target, flags }] of Object.entries(list.channels))
      if (stateOf(name).value === UNKNOWN) stateOf(name).value = { value, target, flags, amps: 0 };
    groups.value = list.groups;
    poses.value = list.poses;
  });
}

let readingCues = false;
let cuesAreOld = false;

/** Reads anew which cues run: one request at a time, however many events there are. */
async function refreshCues(): Promise<void> {
  cuesAreOld = true;
  if (readingCues) return;
  readingCues = true;
  try {
    while (cuesAreOld) {
      cuesAreOld = false;
      cueList.value = await call<Requests['cue.list']['result']>('cue.list');
    }
  } catch (error) {
    if (!(error instanceof LinkGone)) trouble.value = (error as Error).message;
  } finally {
    readingCues = false;
  }
}

/** Asks the daemon for something and shows its reason when it refuses. */
export async function ask<T = Record<string, unknown>>(
  method: string,
  params: object = {},
): Promise<T | undefined> {
  try {
    const result = await call<T>(method, params);
    trouble.value = '';
    return result;
  } catch (error) {
    trouble.value = (error as Error).message;
    return undefined;
  }
}

export function startStore(): void {
  startLink(onNotice, (result) => void onOpen(result));
}
