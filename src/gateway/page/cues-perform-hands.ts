import { computed, effect, signal } from '@preact/signals';
import { turnDeg } from '../../sums/tilt.ts';
import {
  armed,
  grip,
  gripOf,
  holdButton,
  letGo,
  placeNow,
  said,
  usable,
} from './cues-perform-data.ts';
import { gamepadPlace, leadsByGamepad, placeOfTilt } from './cues-perform-map.ts';
import { HeldKeys } from './held-keys.ts';
import { tilt } from './tilt-source.ts';

/** Hands that are not on the page: keys, a gamepad, the tilt of the phone. */

/** A key that is held leads over this share of the range in a second. */
const KEY_RATE = 0.6;
/** A gamepad is looked at so often (ms), and the tilt is used as long as it is not older (ms). */
const LOOK_EVERY_MS = 20;
const TILT_FRESH_MS = 300;

// --- keys ---------------------------------------------------------------------------------------

/** Keys that lead servos from where they stand. */
export function ledKeys(): HeldKeys {
  return new HeldKeys({
    lead: (channel, way) => {
      const one = usable.peek().find((other) => other.channel === channel);
      if (one) grip(channel, placeNow(one), way * KEY_RATE);
    },
    letGo,
    isLed: (channel) => gripOf(channel) !== undefined,
  });
}

/** Leads by the keys that were chosen, while they are held. Returns its end. */
export function watchKeys(): () => void {
  const held = ledKeys();
  const onDown = (event: KeyboardEvent) => {
    if (!armed.peek() || event.altKey || event.ctrlKey || event.metaKey) return;
    if (event.target instanceof Element && event.target.closest('input, select, textarea')) return;
    const key = event.key.toLowerCase();
    const one = usable.peek().find(({ by, keys }) => by === 'keys' && keys?.includes(key));
    if (!one) return;
    event.preventDefault();
    if (event.repeat) return;
    held.press(event.code, { channels: [one.channel], way: one.keys![0] === key ? -1 : 1 });
  };
  const onUp = (event: KeyboardEvent) => held.release(event.code);
  // A key that goes up while the window has no focus is not heard of.
  const away = () => held.releaseAll();
  addEventListener('keydown', onDown);
  addEventListener('keyup', onUp, true);
  addEventListener('blur', away);
  return () => {
    away();
    removeEventListener('keydown', onDown);
    removeEventListener('keyup', onUp, true);
    removeEventListener('blur', away);
  };
}

// --- a gamepad ----------------------------------------------------------------------------------

/** What the page knows of a gamepad. */
export const gamepad = signal<{ name: string; held: boolean } | undefined>(undefined);

/** By a gamepad with the standard layout (W3C Gamepad, section 10), and by number for all others. */
export const AXES: readonly (readonly [number, string])[] = [
  [0, 'left stick, across'],
  [1, 'left stick, up and down'],
  [2, 'right stick, across'],
  [3, 'right stick, up and down'],
];
export const TRIGGERS: readonly (readonly [number, string])[] = [
  [6, 'left trigger'],
  [7, 'right trigger'],
];
export const HOLD_BUTTONS: readonly (readonly [number, string])[] = [
  [4, 'left shoulder'],
  [5, 'right shoulder'],
  [6, 'left trigger'],
  [7, 'right trigger'],
  [0, 'lowest button'],
];

/** A gamepad leads something. */
export const isByGamepad = computed(() => usable.value.some(leadsByGamepad));

/** Leads by a gamepad while its button is held. Returns its end. */
export function watchGamepad(): () => void {
  let wasHeld = true;
  const mine = new Set<string>();
  const release = (why = '') => {
    for (const channel of mine) letGo(channel, why);
    mine.clear();
  };
  const look = () => {
    const pads = navigator.getGamepads?.() ?? [];
    const pad = [...pads].find((one) => one?.connected);
    if (!pad) {
      if (mine.size > 0) release('The gamepad is gone, so everything holds.');
      if (gamepad.peek()) gamepad.value = undefined;
      return;
    }
    const held = pad.buttons[holdButton.peek()]?.pressed ?? false;
    const shown = gamepad.peek();
    if (shown?.name !== pad.id || shown.held !== held) gamepad.value = { name: pad.id, held };
    // A page in the background hears of a gamepad too.
    if (!held || !armed.peek() || !document.hasFocus()) {
      release();
      // Held since before the controls were ready, it must be let go first.
      wasHeld = held;
      return;
    }
    const isNew = !wasHeld;
    wasHeld = true;
    for (const one of usable.peek()) {
      const place = gamepadPlace(one, pad);
      if (place === undefined) continue;
      // What something else has ended begins again with the next press.
      if (!isNew && (!mine.has(one.channel) || gripOf(one.channel) === undefined)) continue;
      mine.add(one.channel);
      grip(one.channel, place);
    }
  };
  // A browser has no event for it: it is looked at repeatedly, while anything is led by it.
  return effect(() => {
    if (!isByGamepad.value) return;
    const timer = setInterval(look, LOOK_EVERY_MS);
    return () => {
      clearInterval(timer);
      release();
      gamepad.value = undefined;
      wasHeld = true;
    };
  });
}

// --- the tilt of the phone ----------------------------------------------------------------------

/** The button for the tilt is held. */
export const tiltHeld = signal(false);

type Way = 'tilt-roll' | 'tilt-pitch';

/** How the phone is tilted now (deg): to its sides, and forwards and back; undefined without news. */
function tiltNow(): Record<Way, number> | undefined {
  const last = tilt.samples.peek().at(-1);
  if (!last || performance.now() - last.atMs > TILT_FRESH_MS) return undefined;
  return { 'tilt-roll': last.gamma, 'tilt-pitch': last.beta };
}

let began: { at: Record<Way, number>; places: Map<string, number> } | undefined;

/** The button goes down: servos are led from where they stand, by how far the phone is tilted from now on. */
export function holdTilt(): void {
  const at = tiltNow();
  if (!armed.peek()) return;
  if (!at) {
    said.value = 'The phone has not reported its tilt yet.';
    return;
  }
  const mine = usable.peek().filter(({ by }) => by === 'tilt-roll' || by === 'tilt-pitch');
  if (mine.length === 0) return;
  began = { at, places: new Map(mine.map((one) => [one.channel, placeNow(one)])) };
  tiltHeld.value = true;
  for (const [channel, place] of began.places) grip(channel, place);
}

export function letGoTilt(why = ''): void {
  const mine = began;
  began = undefined;
  tiltHeld.value = false;
  for (const channel of mine?.places.keys() ?? []) letGo(channel, why);
}

/** Leads by the tilt while the button is held. Returns its end. */
export function watchTilt(): () => void {
  const end = effect(() => {
    void tilt.samples.value;
    if (!began) return;
    const now = tiltNow();
    if (!now) return;
    for (const one of usable.peek()) {
      const beganAt = began.places.get(one.channel);
      if (beganAt === undefined) continue;
      if (gripOf(one.channel) === undefined) {
        letGoTilt();
        return;
      }
      const way = one.by as Way;
      grip(one.channel, placeOfTilt(beganAt, turnDeg(began.at[way], now[way])));
    }
  });
  // Without news nobody knows how the phone is held.
  const timer = setInterval(() => {
    if (began && !tiltNow()) letGoTilt('The phone reports its tilt no more, so it holds.');
  }, 100);
  return () => {
    clearInterval(timer);
    end();
    letGoTilt();
  };
}
