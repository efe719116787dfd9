import { HEADER_LAYOUT } from '../boards/header.ts';
import type { LoomWire } from '../prop/loom.ts';
import type { BoardInfo } from '../prop/pins.ts';
import { type PIN_KINDS, useText } from './words.ts';

export type PinKind = keyof typeof PIN_KINDS;

/** The end of a core in a cavity. */
export interface CavityEnd {
  wire: LoomWire;
  core: LoomWire['cores'][number];
  /** Where the core's other end is. */
  other: string;
}

/** One place on a board where something can be plugged in. */
export interface Slot {
  /** As printed on the board, or counted. */
  number: number;
  /** `GPIO 18`, `output 3`; absent where the slot is power or ground. */
  name?: string;
  kind: PinKind;
  /** What it is for, in words. */
  text: string;
  /** Its use in the prop file: a channel, one colour of a channel, or an input. */
  use?: string;
  /** What is plugged in, as far as it is known. */
  ends: readonly CavityEnd[];
}

/**
 * The slots of a board, in the order of their numbers.
 * @param endsIn what is plugged into a slot, by its number
 */
export function slotsOf(
  board: BoardInfo,
  endsIn: (number: number) => readonly CavityEnd[] = () => [],
): Slot[] {
  if (!board.header)
    return board.pins.map((pin) => slotOf(pin.pin, `output ${pin.pin}`, pin, endsIn(pin.pin)));
  return HEADER_LAYOUT.map((place, i) => {
    const number = i + 1;
    const ends = endsIn(number);
    if ('gpio' in place) {
      const pin = board.pins.find(({ pin }) => pin === place.gpio)!;
      return slotOf(number, `GPIO ${place.gpio}`, pin, ends);
    }
    const kind = place.power === 'ground' ? 'ground' : 'power';
    return { number, kind, text: place.power, ends };
  });
}

function slotOf(
  number: number,
  name: string,
  { use, reserved }: BoardInfo['pins'][number],
  ends: readonly CavityEnd[],
): Slot {
  const kept = reserved === undefined ? '' : `reserved: ${reserved}`;
  if (use !== undefined) {
    const text = useText(use) + (kept && ` (${kept})`);
    return { number, name, kind: 'used', text, use, ends };
  }
  const kind = ends.length > 0 ? 'used' : kept ? 'reserved' : 'free';
  return { number, name, kind, text: kept || (kind === 'used' ? 'wired' : 'free'), ends };
}

/** The label and purpose of an end's wire, its core's role, and where it goes: `W07 beak, signal → SV3-1`. */
export function endText({ wire, core, other }: CavityEnd, whom: string): string {
  const role = whom ? `${whom}, ${core.role}` : core.role;
  return `${wire.label}  ${role} → ${other}`;
}
