import type { DropWay } from '../prop/drop-ways.ts';
import type { Cue, Prop } from '../prop/schema.ts';
import type { PlayedTake } from '../prop/take/played.ts';

/** What the steps of a cue play, by their places; undefined where none of them plays a take. */
export type CueTakes = readonly (PlayedTake | undefined)[] | undefined;

/** What the core needs from a prop: no wires, no connectors. */
export type CoreProp = Prop & {
  /** How long each cue takes (s); null when it goes on until stopped. */
  cueDurationsS: Record<string, number | null>;
  /** What cues play, by their names, worked out. */
  cueTakes?: Record<string, CueTakes>;
  /** Where measured drops are compared with those that the wires explain. */
  dropWays?: readonly DropWay[];
};

/**
 * A change of the prop, in small messages that the core reads one by one, in a tick each. A change that
 * begins before an earlier one has ended, or has taken effect, takes its place.
 */
export type ChangeMessage =
  | {
      t: 'begin';
      id: number;
      version: string;
      /** The version that must be in use for what follows to be true. */
      base: string;
      /** Whether it takes effect only when parked: everything is rebuilt then. */
      whenParked: boolean;
      /** What changes, in plain words. */
      changed: string[];
      /** The view that the gateway uses from then on: `PropView` as JSON. Passed on unread. */
      view: Uint8Array;
      /** The prop without channels and cues; only what has changed unless `whenParked`. */
      rest: Partial<Omit<CoreProp, 'channels' | 'cues' | 'cueDurationsS'>>;
    }
  /** A channel: all of them in the order of the file when `whenParked`, else those with new marks, limits or park position. */
  | { t: 'channel'; name: string; spec: Prop['channels'][string] }
  /** A cue, new or changed; all of them when `whenParked`. Undefined when it is gone. */
  | { t: 'cue'; name: string; cue: Cue | undefined; durationS: number | null; takes?: CueTakes }
  | { t: 'end' };

/**
 * `adopted`: in use. `waits`: it takes effect when the prop is parked; the result
 * is sent then. `replaced`: a later one took its place before that. `stale`: it was worked out from another
 * version (`base`) than the one in use. `rejected`: the boards cannot do it; the prop is as it was.
 */
export type Outcome = 'adopted' | 'waits' | 'replaced' | 'stale' | { rejected: string };
