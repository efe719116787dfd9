import type { LockInfo } from '../api/types.ts';
import type { DutyRecord } from './duty.ts';
import type { KeptAngle } from './measured-angle.ts';

/** A guard's record, and the pin that it is about. */
export type NotedDuty = DutyRecord & { output?: string | undefined };

/** What is kept of wires that are found to be weak. */
export interface KeptDrop {
  /** Of the way: of another prop, or after a change of its wires, it says nothing. */
  digest: string;
  /** The samples by which it is judged, in the order of `rowsOf` in drop-watch.ts. */
  classes: readonly (readonly number[])[];
}

/** What is kept across restarts. Times are in s since the machine started. */
export interface Saved {
  settled: boolean;
  positions: Record<string, number>;
  /**
   * Of each servo, the digest of the output, calibration and linkage that its position depends on; of each
   * relay, its pin.
   */
  digests?: Record<string, string>;
  /** Of each servo whose angle is measured: whether its sense has proven itself, and how it arrived. */
  angles?: Record<string, KeptAngle>;
  /** Wires whose measured drop is more than they explain. */
  drops?: readonly KeptDrop[] | undefined;
  /** Of every relay with a duty guard: one that is missing here rests first. */
  duty: Record<string, NotedDuty>;
  lockout?: readonly LockInfo[];
  /** A stop or a fault that nobody has reset. */
  latched?: {
    condition: 'stopped' | 'faulted';
    /** Who stopped, by name, the last one last; empty where it was the prop itself. */
    stoppedBy: string[];
  };
  /** The daemon ended as it should; otherwise it died, or the power failed. */
  clean?: boolean;
}

export interface Restored extends Saved {
  /** Written since the machine was last switched on, so that monotonic times still count. */
  sameBoot: boolean;
  /** What an earlier release did not save, and what that means; empty where it is all there. */
  lacks?: readonly string[];
}

/** Why nothing could be restored: a first start, a damaged state, or one that a newer release has written. */
export type Nothing = 'none' | 'damaged' | 'newer';

/** Where the core keeps what must outlive it. */
export interface Store {
  restored: Restored | Nothing;
  /** Monotonic time since the machine started (s). */
  bootNowS(): number;
  /** Never waits and never throws; `durable` asks for it to survive a power cut as well. */
  save(state: Saved, durable: boolean): void;
  /**
   * Whether what was last asked to be durable is so. An error means that it is not and that what is
   * kept instead may give the next run positions that are long out of date.
   */
  readonly noted: 'yes' | 'not yet' | Error;
}
