import { type DriverName, setUpOf } from '../boards/registry.ts';
import { PARTS, partsFor } from '../prop/parts.ts';
import { BOUNDS, COMPUTERS, LOAD_WORDS, LOADS, USUAL, USUAL_LIGHTS, WIRED } from './answers.ts';

/** Everything that may be answered about a new prop, for a form that shows it all at once. */

export interface Choice {
  value: string;
  about: string;
}

const parts = (kind: string): Choice[] =>
  partsFor(kind).map((value) => ({ value, about: PARTS[value]!.about }));

/** What is between a pin and a light. */
export const WIRED_WORDS: Record<(typeof WIRED)[number], string> = {
  'n-mosfet': 'logic-level MOSFETs that switch it to ground',
  'driver board': 'a module with a supply of its own',
  pin: 'nothing but a resistor',
};

/** All that the answers about a new prop may be, and what they usually are. */
export function choices() {
  return {
    computers: COMPUTERS.map((value) => ({ value, about: setUpOf(value as DriverName).about })),
    servos: parts('servo'),
    rgb: parts('rgb'),
    lamps: parts('lamp'),
    wired: WIRED.map((value) => ({ value, about: WIRED_WORDS[value] })),
    /** `rated`: its voltage and current are known. */
    loads: LOAD_WORDS.map((value) => ({
      value,
      about: LOADS[value].about,
      rated: LOADS[value].part !== undefined,
    })),
    usual: { ...USUAL, rgb: USUAL_LIGHTS.rgb, lamp: USUAL_LIGHTS.lamp },
    bounds: BOUNDS,
  };
}
