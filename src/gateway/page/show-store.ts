import { computed, effect, signal } from '@preact/signals';
import { forPeople } from './for-people.ts';
import { browserKept } from './kept.ts';
import { isMet, needText, type Requirement } from './refusal.ts';
import { restText } from './relay-time.ts';
import { inShow, nextOf, orderFrom, type ShowOrder, stepFrom } from './show-order.ts';
import { ask, condition, cueList, journal, nowS, propName } from './store.ts';

/** What the show view knows beside the daemon's state: order, next cue, what was just asked for. */

/** The order of the show, as this browser keeps it. */
export const showOrder = signal<ShowOrder>(orderFrom(null));
const keyOf = (prop: string) => `sinew-show:${prop}`;

effect(() => {
  if (propName.value) showOrder.value = orderFrom(browserKept.getItem(keyOf(propName.value)));
});

/** Changes the order, and keeps it in this browser. */
export function keepOrder(change: Partial<ShowOrder>): void {
  showOrder.value = { ...showOrder.peek(), ...change };
  browserKept.setItem(keyOf(propName.peek()), JSON.stringify(showOrder.peek()));
}

/** Every cue of the prop, in the order of its file. */
export const allCues = computed(() => Object.keys(cueList.value.cues));
export const show = computed(() => inShow(allCues.value, showOrder.value));
export const next = computed(() => nextOf(show.value, showOrder.value));

/** A part of a cue that the daemon has left out, and when that is no news any more. */
interface LeftOut {
  text: () => string;
  isOver: () => boolean;
}

const leftOut = signal<Readonly<Record<string, LeftOut>>>({});
/** The newest event of the journal that was looked at. */
let lookedAt = -1;

effect(() => {
  const entries = journal.value;
  const newest = entries.at(-1)?.seq ?? -1;
  // What was refused before this page was opened is not at any hand here.
  const fresh = lookedAt < 0 ? [] : entries.filter(({ seq }) => seq > lookedAt);
  lookedAt = newest;
  const known = { ...leftOut.peek() };
  for (const { what, text, values } of fresh) {
    const cue = values?.cue;
    if (typeof cue !== 'string') continue;
    if (what === 'cue' && / runs$/.test(text)) delete known[cue];
    // Where the whole cue is refused, that is said where it was asked for.
    if (what === 'refused' && values?.step !== undefined)
      known[cue] = leftOutBy(text, values as Record<string, unknown>);
  }
  leftOut.value = known;
});

function leftOutBy(text: string, values: Record<string, unknown>): LeftOut {
  const { requires, secondsLeft, channel } = values;
  const then = condition.peek();
  const changed = () => condition.value !== then;
  // `cue wake, step 4: mist rests` is said at the button of wake.
  const why = forPeople(text.slice(text.indexOf(': ') + 2));
  const says = { text: () => `left out: ${why}`, isOver: changed };
  if (requires)
    return { ...says, isOver: () => changed() || isMet(requires as Requirement) === true };
  if (secondsLeft === undefined) return says;
  const relay = String(channel);
  const untilS = nowS.peek() + Number(secondsLeft);
  return {
    text: () => {
      const rests = restText(relay);
      return `left out: ${rests ? `${relay} ${rests}` : why}`;
    },
    isOver: () => changed() || (nowS.value > untilS && restText(relay) === undefined),
  };
}

/** What stands in the way of a cue, or of a part of it, before it is started; undefined where nothing is known to. */
export function hindrance(cue: string): string | undefined {
  const { cues, idle } = cueList.value;
  const info = cues[cue];
  if (!info?.uses || info.running) return undefined;
  const { channels, takesOver, closes, needs } = info.uses;
  // What the idle behaviour plays gives way, and nobody can tell it from the rest.
  const idles = Object.values(idle).some(({ running }) => running);
  if (!takesOver && !idles)
    for (const [other, { running, uses }] of Object.entries(cues)) {
      const shared =
        running && other !== cue && uses?.channels.find((one) => channels.includes(one));
      if (shared) return `not beside ${other}: both use ${shared}`;
    }
  for (const relay of closes) {
    const rests = restText(relay);
    if (rests) return `${relay} ${rests}`;
  }
  for (const { channel, requires } of needs)
    if (isMet(requires) === false) return `${channel} needs ${needText(requires)}`;
  return undefined;
}

/** What was refused of a cue that runs or ran last, while that is so. */
export function refusedPart(cue: string): string | undefined {
  const part = leftOut.value[cue];
  return part && !part.isOver() ? part.text() : undefined;
}

/** Cues that were just asked for: until the daemon says that they run, another tap is the same one. */
const starting = signal<ReadonlySet<string>>(new Set());
/** An answer may take this long (ms). */
const STARTS_WITHIN_MS = 500;

/** Runs a cue once, and makes the one after it the next. */
export async function runCue(cue: string): Promise<void> {
  if (starting.peek().has(cue)) return;
  starting.value = new Set([...starting.peek(), cue]);
  const result = await ask('cue.run', { cue });
  if (result) keepOrder({ next: stepFrom(show.peek(), cue, 1) });
  setTimeout(
    () => {
      starting.value = new Set([...starting.peek()].filter((one) => one !== cue));
    },
    result ? STARTS_WITHIN_MS : 0,
  );
}
