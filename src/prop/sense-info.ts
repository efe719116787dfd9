import type { Prop } from './schema.ts';
import { dipOf, SENSE_UNITS, type SenseLimitName, senseLimits } from './senses.ts';
import type { SenseKind } from './senses-schema.ts';

/** What is said of a sense besides its readings. */
export interface SenseInfo {
  name: string;
  kind: SenseKind;
  /** `A`, `V`, `deg`; empty of a level, which is from 0 to 1, and of a contact, which is 0 or 1. */
  unit: string;
  board: string;
  input?: number;
  pin?: number;
  /** What it is the current, the voltage or the angle of. */
  rail?: string;
  channel?: string;
  limits: { [L in SenseLimitName | 'dipBelow']?: number };
  /** Its limit counts after so long (s). */
  forS: number;
}

/** Of every sense of a prop, in the order of the file. */
export function senseInfos({ senses = {} }: Partial<Pick<Prop, 'senses'>>): SenseInfo[] {
  return Object.entries(senses).map(([name, sense]) => {
    const { kind, board, forS } = sense;
    const dip = dipOf(sense);
    const { input, pin, rail, channel } = { ...NOTHING, ...sense };
    return {
      ...{ name, kind, unit: SENSE_UNITS[kind], board },
      ...(input !== undefined && { input }),
      ...(pin !== undefined && { pin }),
      ...(rail !== undefined && { rail }),
      ...(channel !== undefined && { channel }),
      limits: {
        ...Object.fromEntries(senseLimits(sense).map(({ what, at }) => [what, at])),
        ...(dip && { dipBelow: dip.at }),
      },
      forS,
    };
  });
}

const NOTHING = { input: undefined, pin: undefined, rail: undefined, channel: undefined };
