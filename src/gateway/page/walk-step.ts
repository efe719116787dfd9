import type { Signal } from '@preact/signals';
import type { ChannelInfo } from '../../api/types.ts';
import type { Progress } from './walk-progress.ts';

/** What every step of the guided walk is given. */
export interface StepProps {
  channel: string;
  info: ChannelInfo;
  progress: Progress;
  /** What was done, or why not: shown where the caution stands, and read out. */
  say: Signal<string>;
  /** True while the step itself moves the servo: the hands cannot, meanwhile. */
  busy: Signal<boolean>;
  /** Keeps what is given, on top of what is known. */
  keep(change: Partial<Progress>): void;
  /** Goes on to the next step, keeping what is given with it. */
  next(change?: Partial<Progress>): void;
}
