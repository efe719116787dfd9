import type { MessagePort } from 'node:worker_threads';
import type { MethodBy, Params } from '../api/methods.ts';
import type { ChannelInfo, JournalEntry } from '../api/types.ts';
import type { CoreProp, Outcome } from '../core/core-prop.ts';
import type { PassageAsked } from '../core/cue-passage.ts';
import type { Recording } from '../core/recorder.ts';
import type { Nothing, Restored, Saved } from '../core/store.ts';
import type { Battery } from '../prop/battery.ts';
import type { CueChange } from '../prop/cue-change.ts';
import type { CueHint } from '../prop/cue-hints.ts';
import type { WeakWires } from '../prop/drop-ways.ts';
import type { Edit } from '../prop/edit-text.ts';
import type { Author, FileStatus } from '../prop/file/status.ts';
import type { ChannelKind } from '../prop/kinds/channel.ts';
import type { ValueType } from '../prop/kinds/kind.ts';
import type { PictureType } from '../prop/picture/safe-picture.ts';
import type { BoardInfo } from '../prop/pins.ts';
import type { Show } from '../prop/schema.ts';
import type { SenseInfo } from '../prop/sense-info.ts';
import type { SafePlan } from '../safe/plan.ts';
import type { ErrorObject } from '../shared/errors.ts';
import type { TelemetryBuffers } from '../shared/telemetry.ts';
import type { WornChannel } from './wear-book.ts';

/**
 * What the prop-file service, the core and the gateway say to each other. The service owns the prop
 * file and everything else on the disk; the core opens no file and waits for none.
 */

/** What the service's thread is started with. */
export interface ServiceStart {
  /** Path of the prop file, as given on the command line. */
  file: string;
  /** Make an empty prop file where there is none. */
  create?: boolean;
  /** Where positions, duty guards and the last accepted prop file are kept; found out when undefined. */
  stateDir: string | undefined;
  /** Where the plan of the safe-levels program goes; the state's folder when undefined. */
  planDir: string | undefined;
  logLevel: string;
  /** Log lines for a person at a terminal, not JSON. */
  pretty: boolean;
  /** The thread before this one died: the version that the core has. Undefined at the first start. */
  resumed: string | undefined;
  /** The line on which changes to the prop go to the core, which reads one message a tick from it. */
  changes: { port: MessagePort; ring: SharedArrayBuffer };
  /** Of the line for all else that it tells the core once it has opened the file. */
  ring: SharedArrayBuffer;
}

/** A service that only keeps what it works out from the file, for a later start; it answers and ends. */
export interface PrepareStart extends Pick<ServiceStart, 'file' | 'stateDir'> {
  prepare: true;
}

/** Whether it was kept, and a sentence; findings before it. */
export interface Prepared {
  ready: boolean;
  text: string;
}

/** Main thread to service. `n` numbers what is answered by `done` or `fail`. */
export type ToService =
  /** A line to the gateway's thread; takes the place of an earlier one. */
  | { t: 'gateway'; port: MessagePort }
  | { t: 'state'; n: number; state: Saved; durable: boolean }
  | { t: 'plan'; n: number; plan: SafePlan }
  /** Captured values: they take effect at once, limits as well. Result: `{ version }`. */
  | { t: 'capture'; n: number; edits: Edit[]; by: Author }
  /** Puts back what the last capture replaced. Result: `{ version, undone }`. */
  | { t: 'undo'; n: number; by: Author }
  /** Result: `{ version, changed, pending }`, and `problem` where it was written with errors left. */
  | {
      t: 'apply';
      n: number;
      text?: string;
      edits?: Edit[];
      partly?: boolean;
      version: string;
      by: Author;
    }
  /** Steps of a cue, or without them its removal. Result: as `apply`. */
  | { t: 'cue'; n: number; change: CueChange; version: string; by: Author }
  | { t: 'restore'; n: number; version: string; base?: string | undefined; by: Author }
  /** A picture is about to come from the gateway. Result: `{ upload, partBytes }`. */
  | { t: 'picture-begin'; n: number; name: string; bytes: number; by: Author }
  /** It is here: it is checked and kept. Result: `{ file, width, height, leftOut }`. */
  | { t: 'picture-end'; n: number; upload: number; by: Author }
  /** A sound is about to come from the gateway, is here, or goes. Results: those of the methods. */
  | { t: 'sound-begin'; n: number; bytes: number; by: Author }
  | { t: 'sound-add'; n: number; params: Params<'sound.add'>; by: Author }
  | { t: 'sound-remove'; n: number; params: Params<'sound.remove'>; by: Author }
  /** A servo follows a sound: a take beside the prop file. Result: that of `sound.follow`. */
  | { t: 'sound-follow'; n: number; params: Params<'sound.follow'>; by: Author }
  /** A passage of a cue of the version in use. Result: `CuePassage`. */
  | { t: 'passage'; n: number; asked: PassageAsked; session: string }
  /** What would be saved of a recording, or of the take that is named. Result: `TakeShown`. */
  | { t: 'take-read'; n: number; recording?: Recording | undefined; params: Params<'take.read'> }
  /** Either becomes a take beside the prop file. Result: that of `take.save`. */
  | {
      t: 'take-save';
      n: number;
      recording?: Recording | undefined;
      params: Params<'take.save'>;
      by: Author;
    }
  | { t: 'gone'; session: string }
  /** What became of a change that was sent on the port of changes. */
  | { t: 'change'; id: number; outcome: Outcome }
  /** `timeMs`: when it was said (ms since the epoch); it may be written later. */
  | { t: 'log'; level: LogLevel; name: string; timeMs: number; values: object; text: string }
  /** An entry of the journal, for the log and the disk; `again`: in the place of the one with its number. */
  | { t: 'entry'; entry: JournalEntry; again: boolean }
  /** Where the core writes what it does, from now on. */
  | { t: 'telemetry'; buffers: TelemetryBuffers; channels: readonly WornChannel[] }
  /** Looks for boards on the I2C buses. Result: that of `board.scan`. */
  | { t: 'board-scan'; n: number }
  /** A channel was maintained. Result: that of `wear.done`. */
  | { t: 'wear-done'; n: number; channel: string; who: string; note: string }
  /** Result: `WearSum`. */
  | { t: 'wear-sum'; n: number }
  /** A line for standard output. */
  | { t: 'print'; text: string }
  /** Answered when everything asked for so far is on the disk and in the log. */
  | { t: 'flush'; n: number }
  /** The thread ends at once. */
  | { t: 'close' };

export type LogLevel = 'debug' | 'info' | 'warn' | 'error';

/** Service to main thread. */
export type FromService =
  | ({ t: 'opened' } & Opened)
  /** Nothing was started: whole lines for standard error, and the exit code. */
  | { t: 'cannot-open'; lines: string[] }
  | { t: 'done'; n: number; result: Record<string, unknown> }
  | { t: 'fail'; n: number; error: ErrorObject }
  /** How the file on the disk differs from the prop in use has changed. */
  | { t: 'file'; status: FileStatus }
  /** An entry for the journal. */
  | {
      t: 'journal';
      who: string;
      what: ServiceEvent;
      text: string;
      values: Record<string, unknown>;
    }
  /** This thread has started again; it has the journal up to this number. */
  | { t: 'kept'; seq: number };

/** What the service itself brings into the journal. */
export type ServiceEvent = 'file' | 'state' | 'sense' | 'clock' | 'journal' | 'maintenance';

/** Sent while the core does not tick yet, so through the port. */
export const isAnswerToStart = (
  message: FromService,
): message is Extract<FromService, { t: 'opened' | 'cannot-open' }> =>
  message.t === 'opened' || message.t === 'cannot-open';

export interface Opened {
  prop: CoreProp;
  view: Uint8Array;
  version: string;
  status: FileStatus;
  restored: Restored | Nothing;
  /** The number of the last entry of the journal on the disk. */
  journalSeq: number;
  /** Monotonic time since the machine started, when this was sent (s). */
  bootNowS: number;
}

// --- between gateway and service ---------------------------------------------------------------

/** What the gateway asks the service, past the core. */
export type AskedMethod = MethodBy<'service'> | 'journal.read';

export type FromGateway =
  | {
      t: 'ask';
      id: number;
      session: string;
      method: AskedMethod;
      params: object;
      /** Wires that have too much resistance, by what is measured now. */
      weak?: readonly WeakWires[];
    }
  /** What the session still waits for need not be worked out. */
  | { t: 'gone'; session: string }
  | Extract<ToService, { t: 'log' }>;

/** `text` is the result as JSON. */
export type AnswerToGateway = { id: number; text: string } | { id: number; error: ErrorObject };

/** A picture to be served, before anybody is told its address. */
export interface ServedPicture {
  t: 'picture';
  address: string;
  type: PictureType;
  bytes: Uint8Array;
}

/** The newest entries of the journal from before the daemon started, oldest first. */
export interface RecentEntries {
  t: 'entries';
  entries: readonly JournalEntry[];
}

export type ToGatewayFromService = AnswerToGateway | ServedPicture | RecentEntries;

/** What `channel.list` says of a channel, but for what changes from tick to tick. */
export type StaticInfo = Omit<ChannelInfo, 'value' | 'target' | 'flags' | 'pulseUs' | 'pushing'>;

/** Which levels of which universe lead what. */
export interface E131View {
  universe: number;
  host: string;
  port: number;
  /** Sources of a lower priority are ignored. */
  priority: number;
  /** Each channel: its first address, bytes and number of its levels. */
  led: readonly { name: string; address: number; bytes: number; count: number; moves: boolean }[];
}

/** What the gateway and everybody who looks uses: made from one version of the prop file. */
export interface PropView {
  version: string;
  /** The name of the prop. */
  name: string;
  linkTimeoutMs: number;
  /** In the order of the telemetry. */
  channels: { name: string; kind: ChannelKind; value: ValueType }[];
  rails: {
    name: string;
    limitA: number;
    volts: number;
    /** Of a battery that feeds the rail directly: what its time is worked out from. */
    battery?: Pick<Battery, 'capacityAh' | 'ratedH' | 'peukert'>;
  }[];
  /** `perform`: the addresses that lead servos. */
  osc: { host: string; port: number; perform?: Record<string, unknown> | undefined } | null;
  /** The levels that a lighting desk leads; absent from what an older release has compiled. */
  e131?: E131View | null;
  /** The show that it takes part in; absent from what an older release has compiled. */
  show?: Show | null;
  /** What `channel.list` answers of each channel, but for what changes from tick to tick. */
  info: Record<string, StaticInfo>;
  groups: Record<string, string[]>;
  poses: string[];
  cueDurationsS: Record<string, number | null>;
  /** Absent from what an older release has compiled. */
  cueHints?: Record<string, CueHint>;
  idle: string[];
  triggers: string[];
  boards: Record<string, BoardInfo>;
  /** In the order of the telemetry; absent from what an older release has compiled. */
  senses?: SenseInfo[];
}
