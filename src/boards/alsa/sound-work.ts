import type { SoundFile } from '../board.ts';

/** What the driver and its thread tell each other. */

/** What the thread begins with. */
export interface SoundWork {
  device: string;
  /** The amplitude of each channel now, 0 to 1: shared. */
  gains: Float64Array;
  /** The sounds of each channel, in the order of their numbers from 1. */
  channels: { name: string; files: readonly SoundFile[] }[];
}

export type SoundCall =
  /** `sound`: its number; `atMs`: when it is to be heard, on the system's monotonic clock. */
  | { t: 'play'; channel: number; sound: number; atMs: number }
  | { t: 'silence'; channel: number }
  | { t: 'close' };

export type SoundReply = { t: 'news'; text: string };

/** The system's monotonic clock (ms): the same in every thread. */
export function monotonicMs(): number {
  return Number(process.hrtime.bigint()) / 1e6;
}
