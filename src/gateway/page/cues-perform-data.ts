import { computed, effect, signal } from '@preact/signals';
import { systemClock } from '../../shared/clock.ts';
import { clamp } from '../../shared/units.ts';
import { degAt, type Led, ledFrom, partnerOf, placeAt, rangeOf } from './cues-perform-map.ts';
import { type Following, LeadStream } from './cues-perform-stream.ts';
import { forPeople } from './for-people.ts';
import { browserKept, readKept } from './kept.ts';
import { call, linkState } from './link.ts';
import { channels, commanding, propName, stateOf } from './store.ts';

/** Servos that are led by hand on this page: which ones, by what, and where the hand is. */

const keyOf = (prop: string) => `sinew.perform.${prop}`;

/** What the person has set up, kept by this browser for each prop. */
export const led = signal<readonly Led[]>([]);
/** The button of a gamepad that must be held. */
export const holdButton = signal(4);
/** The controls may move the prop. */
export const armed = signal(false);
/** How each servo follows that is led now. */
export const following = signal<Readonly<Record<string, Following>>>({});
/** What happened last, for a person. */
export const said = signal('');
/** Called when a hand takes hold of the first control. */
export const onGrab = new Set<() => void>();

let keptFor = '';
effect(() => {
  const prop = propName.value;
  if (prop === '' || prop === keptFor) return;
  keptFor = prop;
  const kept = (readKept(browserKept.getItem(keyOf(prop))) ?? {}) as Record<string, unknown>;
  led.value = ledFrom(kept.led);
  const { holdButton: button } = kept;
  holdButton.value = Number.isInteger(button) ? (button as number) : 4;
});

/** Changes what is led, and keeps it. */
export function setLed(next: readonly Led[]): void {
  letGo();
  led.value = next;
  keep();
}

export function setHoldButton(button: number): void {
  letGo();
  holdButton.value = button;
  keep();
}

function keep(): void {
  const kept = { led: led.peek(), holdButton: holdButton.peek() };
  browserKept.setItem(keyOf(propName.peek()), JSON.stringify(kept));
}

/** Those whose channel is a servo of the prop as it is now. */
export const usable = computed(() =>
  led.value.filter(({ channel }) => channels.value[channel]?.limitsDeg !== undefined),
);

/** Servos that nothing leads yet. */
export const free = computed(() => {
  const taken = new Set(led.value.map(({ channel }) => channel));
  return Object.entries(channels.value)
    .filter(([name, { limitsDeg }]) => limitsDeg !== undefined && !taken.has(name))
    .map(([name]) => name);
});

/** The range of a servo that is led (deg). */
export function rangeFor(one: Led): [number, number] {
  return rangeOf(one, channels.peek()[one.channel]!.limitsDeg!);
}

/** Where the hand would be for the servo to stand where it is now. */
export function placeNow(one: Led): number {
  const { value } = stateOf(one.channel).peek();
  return placeAt(Number(value), rangeFor(one), one.turned);
}

// --- what is held -------------------------------------------------------------------------------

/** Where a hand is, by channel; `rate` is how fast it goes on by itself while a key is held (1/s). */
interface Grip {
  place: number;
  rate: number;
  atMs: number;
}

const held = new Map<string, Grip>();
/** The channels that are held. */
export const gripped = signal<ReadonlySet<string>>(new Set());

const stream = new LeadStream({
  clock: systemClock,
  targets,
  send: (now) => call('channel.perform', { targets: now }),
  heard: (answer) => {
    following.value = answer;
  },
  ended: (why) => {
    held.clear();
    showHeld();
    following.value = {};
    if (why) said.value = forPeople(why);
  },
});

function targets(): Record<string, number> {
  const now: Record<string, number> = {};
  const nowMs = systemClock.nowMs();
  const byName = new Map(usable.peek().map((one) => [one.channel, one]));
  for (const [channel, grip] of held) {
    const one = byName.get(channel);
    if (!one) continue;
    grip.place = clamp(grip.place + (grip.rate * (nowMs - grip.atMs)) / 1000, 0, 1);
    grip.atMs = nowMs;
    now[channel] = degAt(grip.place, rangeFor(one), one.turned);
    for (const other of byName.values())
      if (partnerOf(other) === channel)
        now[other.channel] = degAt(grip.place, rangeFor(other), other.turned);
  }
  return now;
}

function showHeld(): void {
  gripped.value = new Set(held.keys());
}

/** A hand holds a servo at a place, 0 to 1; held already, it is led there. */
export function grip(channel: string, place: number, rate = 0): void {
  if (!armed.peek() || !commanding.peek()) return;
  const isFirst = held.size === 0;
  const isNew = !held.has(channel);
  held.set(channel, { place, rate, atMs: systemClock.nowMs() });
  if (isNew) showHeld();
  if (!isFirst) return;
  said.value = '';
  for (const tell of onGrab) tell();
  stream.begin();
}

/** Where the hand is that holds a servo; undefined when nothing does. */
export function gripOf(channel: string): number | undefined {
  return held.get(channel)?.place;
}

/** The hand lets go of a servo, or of all of them. @param why for a person; empty on release */
export function letGo(channel?: string, why = ''): void {
  if (held.size === 0) return;
  if (channel !== undefined) held.delete(channel);
  else held.clear();
  showHeld();
  if (held.size === 0) stream.end(why);
  if (why) said.value = why;
}

/** The controls move the prop from now on, while they are held; or no longer. */
export function arm(on: boolean, why = ''): void {
  if (!on) {
    letGo(undefined, why);
    if (why && armed.peek()) said.value = why;
  }
  armed.value = on && commanding.peek();
}

/** While the part is shown: everything that must end what is led. To be called once; returns its end. */
export function watchHands(): () => void {
  const away = () => letGo(undefined, 'The page lost your attention, so everything holds.');
  const turned = () => letGo(undefined, 'The screen has changed its size, so everything holds.');
  const onVisibility = () => {
    if (document.hidden) away();
  };
  const end = effect(() => {
    if (linkState.value !== 'open') arm(false, 'The link is lost, so everything holds.');
    else if (!commanding.value && armed.peek()) arm(false, 'This page may not move the prop now.');
  });
  addEventListener('blur', away);
  addEventListener('resize', turned);
  addEventListener('pagehide', away);
  document.addEventListener('visibilitychange', onVisibility);
  return () => {
    arm(false);
    end();
    removeEventListener('blur', away);
    removeEventListener('resize', turned);
    removeEventListener('pagehide', away);
    document.removeEventListener('visibilitychange', onVisibility);
  };
}
