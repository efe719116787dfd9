import { factsOf } from '../boards/registry.ts';
import type { Prop } from '../prop/schema.ts';
import type { SenseKind } from '../prop/senses-schema.ts';
import { USES } from '../proposal/pins.ts';
import { freePins } from './pins.ts';

/** Where something can still be measured: what a form offers, and what a change proposes. */

/** What a contact is to its pin. */
export const CONTACT = USES.contact('the contact');

/** A board that can still measure something. */
export interface SensePlace {
  board: string;
  /** Its free analogue inputs; undefined where it has none. */
  inputs?: number[];
  /** Its free pins, for a contact. */
  pins?: number[];
  /** It can measure without naming an input, as a meter does. */
  direct?: true;
}

/** The place on one board for one kind of sense; undefined where nothing is free, or it cannot measure that. */
export function placeOn(prop: Prop, board: string, kind: SenseKind): SensePlace | undefined {
  if (kind === 'contact') {
    const pins = freePins(prop, board, CONTACT);
    return pins.length > 0 ? { board, pins } : undefined;
  }
  const spec = prop.boards[board]!;
  const measures = factsOf(spec).measures?.(spec);
  if (!measures) return undefined;
  const { quantities, inputs: count } = measures;
  const taken = new Set<number>();
  let isTaken = false;
  for (const sense of Object.values(prop.senses)) {
    if (sense.board !== board || sense.kind === 'contact') continue;
    if (sense.input !== undefined) taken.add(sense.input);
    else if (sense.kind === kind) isTaken = true;
  }
  // What measures a current measures the voltage behind its shunt as well.
  const direct =
    !isTaken && quantities.includes('current') && (kind === 'current' || kind === 'volts');
  // Nothing says how many amperes a voltage stands for.
  const inputs =
    kind === 'current'
      ? []
      : Array.from({ length: count }, (_, input) => input).filter((input) => !taken.has(input));
  if (!direct && inputs.length === 0) return undefined;
  return { board, ...(inputs.length > 0 && { inputs }), ...(direct && { direct }) };
}

/** The places for each kind of sense, in the order of the boards in the file. */
export function sensePlaces(prop: Prop): Record<SenseKind, SensePlace[]> {
  const of = (kind: SenseKind) =>
    Object.keys(prop.boards).flatMap((board) => placeOn(prop, board, kind) ?? []);
  return {
    current: of('current'),
    volts: of('volts'),
    position: of('position'),
    level: of('level'),
    contact: of('contact'),
  };
}
