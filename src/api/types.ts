import type * as z from 'zod';
import type { Fields } from './fields.ts';

/** Parts of results and notifications, by their own names. */

type Made<K extends keyof Fields> = Fields[K] extends z.ZodType ? z.output<Fields[K]> : never;

/** The condition of the prop; with `notParked` it is at rest, but not parked, and that says why. */
export type ConditionResult = Made<'conditionResult'>;
/** One entry of `channel.list`. */
export type ChannelInfo = Made<'channelInfo'>;
/** A linkage within the soft limits. */
export type LinkageInfo = NonNullable<ChannelInfo['linkageFigures']>;
/** The most that a servo has to bring within its soft limits. */
export type TorqueInfo = NonNullable<ChannelInfo['torque']>;
export type VapourInfo = NonNullable<ChannelInfo['vapour']>;
/** A channel as it appears in a `state` notification. */
export type ChannelState = Made<'channelState'>;
export type SenseState = Made<'senseState'>;
export type SenseInfo = Made<'senseInfo'>;
/** The load of every rail during a cue, for a plot. */
export type CueRails = Made<'cueLoad'>;
export type JournalEntry = Made<'journalEntry'>;
export type IncidentHead = Made<'incidentHead'>;
export type IncidentBody = Made<'incidentBody'>;
export type WearCounts = Made<'wearCounts'>;
export type WearDone = Made<'wearDone'>;
export type WearInfo = Made<'wearInfo'>;
export type WearLimit = Made<'wearLimit'>;
export type Incident = Made<'incident'>;
/** Somebody's lock on the prop. */
export type LockInfo = Made<'lockInfo'>;
/** "Hands in the prop": the first lock, and the others where there are more. */
export type LockoutInfo = Made<'lockoutInfo'>;
/** A guard that is broken. */
export type GuardInfo = Made<'guardInfo'>;
/** How the prop file on the disk differs from the prop in use. */
export type FileNews = Made<'fileNews'>;
export type { LoomWire } from '../prop/loom.ts';
export type { MeasuringPart } from '../prop/measuring-path.ts';
export type { BoardInfo } from '../prop/pins.ts';
export type { Symptom } from '../prop/symptoms.ts';
export type { Trace } from '../prop/trace.ts';
/** A finding as every session gets it; `prop.check` gives its code as well. */
export type FileFinding = NonNullable<FileNews['findings']>[number];
