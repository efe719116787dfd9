import { factsOf } from '../boards/registry.ts';
import { loadRailOf } from './kinds/contact.ts';
import { kindOf } from './kinds/registry.ts';
import { coreKind } from './loom.ts';
import { railOf } from './rails.ts';
import type { Prop } from './schema.ts';

/** The resistors by which something is measured, and where they stand in the wiring. */

/** A resistor in plus, through which the current flows that a meter measures. */
export interface Shunt {
  sense: string;
  board: string;
  ohm: number;
  /** Its power rating (W), where the file gives it. */
  ratedW?: number;
  /** The rail whose whole current flows through it; or else the channel whose current alone does. */
  rail?: string;
  channel?: string;
}

/** A shunt, or a resistor of a divider, with its two ends as far as the file gives them. */
export interface MeasuringPart {
  sense: string;
  board: string;
  rail?: string;
  channel?: string;
  ohm: number;
  /** `shunt 0.01 ohm of board meter`, `divider 100 kohm of board adc`. */
  part: string;
  from: string;
  to: string;
}

type Wired = Pick<Prop, 'senses' | 'boards'>;

/** The shunts of a prop, by what its senses say; a current by an analogue input has none that is known. */
export function shuntsOf({ senses, boards }: Wired): Shunt[] {
  return Object.entries(senses).flatMap(([name, sense]) => {
    if (sense.kind !== 'current' || sense.input !== undefined) return [];
    const { board, rail, channel } = sense;
    const entry = Object.hasOwn(boards, board) ? boards[board] : undefined;
    const { shuntOhm: ohm, shuntW } = (entry && factsOf(entry).measures?.(entry)) ?? {};
    if (ohm === undefined || (rail === undefined && channel === undefined)) return [];
    return {
      ...{ sense: name, board, ohm },
      ...(shuntW !== undefined && { ratedW: shuntW }),
      ...(channel !== undefined ? { channel } : { rail: rail! }),
    };
  });
}

/** The shunts that the current of a channel's load flows through: its own, and those of its rail. */
export function shuntsBefore(prop: Prop, channel: string): Shunt[] {
  const spec = prop.channels[channel]!;
  const rail = loadRailOf(spec);
  return shuntsOf(prop).filter((one) =>
    one.channel === undefined ? one.rail === rail : one.channel === channel,
  );
}

/** `shunt 0.01 ohm of board meter`. */
export function shuntText({ ohm, board }: Pick<Shunt, 'ohm' | 'board'>): string {
  return `shunt ${ohmText(ohm)} of board ${board}`;
}

/** Every resistor by which something is measured; a divider is two, with the input between them. */
export function measuringPartsOf(prop: Prop): MeasuringPart[] {
  const shunts = shuntsOf(prop).map(({ ratedW: _, ...shunt }) => ({
    ...{ ...shunt, part: shuntText(shunt) },
    ...(shunt.channel === undefined
      ? { from: behindFuse(prop, shunt.rail), to: `all of ${shunt.rail}` }
      : inOwnWire(prop, shunt.channel)),
  }));
  return [...shunts, ...dividerParts(prop)];
}

function dividerParts({ senses, rails }: Prop): MeasuringPart[] {
  return Object.entries(senses).flatMap(([name, sense]) => {
    if (sense.kind !== 'volts' || !sense.divider || sense.input === undefined) return [];
    const { board, rail, input, divider } = sense;
    const supply = railOf({ rails }, rail)?.supply;
    const at = `input ${input} of ${board}`;
    const common = { sense: name, board, ...(rail !== undefined && { rail }) };
    const part = (ohm: number) => ({ ohm, part: `divider ${ohmText(ohm)} of board ${board}` });
    return [
      { ...common, ...part(divider[0]), from: (sense.at ?? supply)?.plus ?? '', to: at },
      { ...common, ...part(divider[1]), from: at, to: (sense.at ?? supply)?.return ?? '' },
    ];
  });
}

/** A meter stands behind the fuse, and before all wires of the rail. */
function behindFuse({ rails }: Prop, rail: string | undefined): string {
  const { fuse, supply } = railOf({ rails }, rail) ?? {};
  return fuse?.to ?? supply?.plus ?? '';
}

/** In the plus of the channel; of what a relay switches, in the wire to it. */
function inOwnWire(prop: Prop, name: string): { from: string; to: string } {
  const spec = Object.hasOwn(prop.channels, name) ? prop.channels[name]! : undefined;
  const load = prop.wires.filter(({ channel }) => channel === name);
  const own = spec?.wire && !kindOf(spec).switches ? [spec.wire] : [];
  const plus = [...own, ...load]
    .flatMap(({ cores }) => cores)
    .find((core) => coreKind(core) === 'plus');
  return { from: plus?.from ?? '', to: plus?.to ?? '' };
}

/** `0.01 ohm`, `33 kohm`. */
function ohmText(ohm: number): string {
  return ohm >= 1000 ? `${ohm / 1000} kohm` : `${ohm} ohm`;
}
