import { freeName, NAME } from '../prop/name.ts';
import type { Answers, LightAnswer, Move, RelayAnswer, SoundAnswer } from './answers.ts';

/** The channels that the answers ask for, one by one, with names. */

/** `id` stays the same when the name is changed: changes are about it. `from` is its list of the answers. */
export type Slot = PinSlot | SoundSlot;
interface AnySlot {
  id: string;
  name: string;
  group: string;
  place: string | undefined;
}
/** A channel on pins. */
export type PinSlot = AnySlot &
  (
    | { from: 'moves'; answer: Move }
    | { from: 'lights'; answer: LightAnswer }
    | { from: 'relays'; answer: RelayAnswer }
  );
/** A channel of a sound card, which has no pins. */
export type SoundSlot = AnySlot & { from: 'sounds'; answer: SoundAnswer };

export function hasPins(slot: Slot): slot is PinSlot {
  return slot.from !== 'sounds';
}

/** `claw` twice is claw_left and claw_right; more of them are numbered. */
function names(name: string, count: number): string[] {
  if (count === 1) return [name];
  if (count === 2) return [`${name}_left`, `${name}_right`];
  return Array.from({ length: count }, (_, i) => `${name}_${i + 1}`);
}

/** Every channel in the order of the answers; no two have one name. */
export function slotsOf({ moves, lights, relays, sounds }: Answers): Slot[] {
  const slots: Slot[] = [];
  const taken = new Set<string>();
  const all = [
    ...moves.map((answer) => ({ from: 'moves' as const, answer })),
    ...lights.map((answer) => ({ from: 'lights' as const, answer })),
    ...relays.map((answer) => ({ from: 'relays' as const, answer })),
    ...sounds.map((answer) => ({ from: 'sounds' as const, answer })),
  ];
  for (const [i, one] of all.entries())
    for (const wanted of names(one.answer.name, one.answer.count)) {
      const id = freeName(wanted, taken);
      taken.add(id);
      const { name, place } = one.answer;
      slots.push({ id, name: id, group: `${i} ${name}`, place, ...one } as Slot);
    }
  return slots;
}

/** What is wrong with a new name; undefined where nothing is. */
export function nameTrouble(name: string, taken: ReadonlySet<string>): string | undefined {
  if (!NAME.test(name))
    return `${name} is not a name; use a letter, then letters, digits, _ or - (64 at most)`;
  return taken.has(name) ? `${name} is taken already; give another` : undefined;
}
