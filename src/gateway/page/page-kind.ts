import type { ReadonlySignal } from '@preact/signals';
import type { FunctionComponent } from 'preact';
import type { ChannelInfo, ChannelState, Symptom } from '../../api/types.ts';
import type { CommandPart } from '../../prop/steps.ts';
import type { FlagName } from '../../shared/telemetry.ts';

export type Level = NonNullable<ChannelState['value']>;

/** What of a channel is shown at the bench: the guided walk, what can be measured, or itself. */
export type BenchPart = 'walk' | 'measure' | undefined;

export interface ChannelProps {
  channel: string;
  info: ChannelInfo;
}

/** What the page says of a kind of channel. */
export interface KindWords {
  /** Several of them. */
  title: string;
  /** The overview's sheet that has them; where several kinds share one, each has its title in it. */
  sheet: string;
  /** It moves: in the overview it stands beside what stands still. */
  moves: boolean;
  /** Its light may flash. */
  lit: boolean;
  /** The part of a cue's step that commands it, where one does by the channel's name. */
  part?: CommandPart;
  /** A value in a line, and beside a figure. */
  level(value: Level): string;
  figure(value: Level): string;
  /** Target and value differ by less than this, and are the same to a person (deg). */
  reachedDeg?: number;
  /** What is seen when it shows itself, and in two words. */
  showsItself: string;
  identify: string;
  symptoms: readonly Symptom[];
  /** Flags that mean something else here. */
  flags: Partial<Record<FlagName, string>>;
  /** On the picture of the prop. */
  mark: {
    /** What it does while its value changes, and what else is said of a value. */
    changes: string;
    words(value: Level): string;
    /** The colour of its light (CSS); undefined while it is dark. */
    light?(value: Level): string | undefined;
    /** Whether it is on. */
    isOn?(value: Level): boolean;
  };
}

/** What the page shows of a kind of channel, and what it says of it. */
export interface PageKind extends KindWords {
  /** What stands before its value in the overview, and its controls there. */
  Swatch?: FunctionComponent<ChannelProps>;
  Controls: FunctionComponent<ChannelProps>;
  /** In a short row: its travel, keys for a mouse, and instead of `Controls` what opens below the row. */
  row?: {
    Track: FunctionComponent<ChannelProps & { state: ReadonlySignal<ChannelState> }>;
    Quick: FunctionComponent<ChannelProps>;
    Hand: FunctionComponent<ChannelProps>;
  };
  /** Its control at the bench, in a view that all such kinds share; or a view of its own. */
  bench:
    | {
        Control: FunctionComponent<ChannelProps>;
        /** What can be measured of it, step by step. */
        Measure: FunctionComponent<ChannelProps>;
      }
    | { View: FunctionComponent<ChannelProps & { part: BenchPart }> };
}
