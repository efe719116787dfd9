import type { LoomWire } from '../prop/loom.ts';
import type { BoardInfo } from '../prop/pins.ts';
import type { Symptom, Trace } from '../prop/trace.ts';
import type { LinkageSpec } from '../sums/linkage.ts';
import type { Condition } from './condition.ts';

export type { BoardInfo, LoomWire, Symptom, Trace };

/**
 * Everything that may be asked of the core, and what it answers. The gateway checks shapes (zod);
 * the core checks everything else. Failure of any request is a `Refusal` (shared/errors.ts).
 */
export interface Requests {
  'lease.take': { params: object; result: { holder: string } };
  'lease.release': { params: { graceS?: number }; result: { holder: null } };
  wake: { params: { wait?: boolean; confirm?: 'unknown' }; result: ConditionResult };
  park: { params: { wait?: boolean }; result: ConditionResult };
  reset: { params: { confirm?: string }; result: ConditionResult };
  stop: { params: { category: 0 | 1 | 2 }; result: ConditionResult };
  'lockout.set': { params: { reason?: string }; result: LockoutResult };
  'lockout.clear': {
    params: { force?: boolean; reason?: string };
    result: LockoutResult;
  };
  'channel.list': {
    params: object;
    result: {
      channels: Record<string, ChannelInfo>;
      groups: Record<string, string[]>;
      poses: string[];
    };
  };
  'channel.move': {
    params: { channel: string; to: number | string; overS?: number; wait?: boolean };
    result: { target: number; durationS: number; delayed?: string };
  };
  'channel.jog': {
    params: { channel: string; byDeg?: number; byUs?: number; beyondLimits?: boolean };
    result: { target: number; pulseUs: number; limited: boolean };
  };
  'channel.switch': {
    params: { channel: string; on: boolean; forS?: number };
    result: { on: boolean; delayed?: string };
  };
  'channel.colour': {
    params: { channel: string; to: string; fadeS?: number };
    result: { to: string };
  };
  'channel.dim': {
    params: { channel: string; to: number; fadeS?: number };
    result: { to: number };
  };
  'channel.identify': { params: { channel: string }; result: { durationS: number } };
  'group.move': {
    params: { group: string; to: number | string; overS?: number; wait?: boolean };
    result: { durationS: number; delayed?: string };
  };
  'pose.go': {
    params: { pose: string; overS?: number; wait?: boolean };
    result: { durationS: number; delayed?: string };
  };
  'cue.list': {
    params: object;
    result: {
      cues: Record<string, { running: boolean; durationS: number | null }>;
      idle: Record<string, { running: boolean }>;
      triggers: { names: string[]; armed: boolean };
    };
  };
  'cue.run': {
    params: { cue: string; wait?: boolean };
    result: { running: boolean; durationS: number | null };
  };
  'cue.stop': {
    params: { cue: string };
    result: { running: boolean; durationS: number | null };
  };
  'idle.start': { params: { idle: string }; result: { running: string } };
  'idle.stop': { params: object; result: { running: null } };
  'trigger.arm': { params: { armed: boolean }; result: { armed: boolean } };
  'mark.capture': {
    params: { channel: string; mark: string };
    result: { deg: number; pulseUs: number };
  };
  'limits.capture': {
    params: { channel: string; end: 'low' | 'high' };
    result: { limitsDeg: [number, number] };
  };
  'park.capture': {
    params: { channel: string; mark?: string };
    result: { to: number | string; deg: number };
  };
  'capture.undo': { params: object; result: { undone: string } };
  'prop.apply': {
    params: {
      text?: string;
      edits?: { path: (string | number)[]; value?: unknown }[];
      version: string;
    };
    result: { version: string; changed: string[]; pending: boolean };
  };
  'prop.restore': {
    params: { version: string };
    result: { version: string; changed: string[]; pending: boolean };
  };
  'sim.set': {
    params: {
      board: string;
      /** Levels of input pins, by pin; null lets go. */
      inputs?: Record<string, 0 | 1 | null>;
      /** The board fails from now on with this message; null mends it. */
      fault?: string | null;
    };
    result: { board: string; inputs: Record<string, 0 | 1>; fault: string | null };
  };
  'loom.find': { params: { text: string }; result: { wires: LoomWire[] } };
  'loom.trace': { params: { channel: string; symptom?: Symptom }; result: Trace };
  'board.list': { params: object; result: { boards: Record<string, BoardInfo> } };
  'journal.read': {
    params: { since?: number; limit?: number };
    result: { entries: JournalEntry[] };
  };
}

export type Method = keyof Requests;
/** Those that the gateway answers itself, or asks the prop-file service. */
export type ViewMethod =
  | 'channel.list'
  | 'cue.list'
  | 'loom.find'
  | 'loom.trace'
  | 'board.list'
  | 'journal.read';
export type CoreMethod = Exclude<Method, ViewMethod>;
export type Params<M extends Method> = Requests[M]['params'];
export type Result<M extends Method> = Requests[M]['result'];

/** Somebody's lock on the prop. */
export interface LockInfo {
  /** The client, the key switch, or that nobody knows. */
  by: string;
  reason: string;
  /** Wall-clock time, ISO 8601. */
  time: string;
}

/** "Hands in the prop": the first lock, and the others where there are more. */
export interface LockoutInfo extends LockInfo {
  also?: LockInfo[];
}

export interface LockoutResult {
  lockout: LockoutInfo | null;
  /** Why it is so now, but not after a restart. */
  unsaved?: string;
}

/** A guard that is broken. */
export interface GuardInfo {
  name: string;
  action: 'inhibit' | 'stop';
}

/** What keeps the prop from waking and moving; and why it is not parked, where its condition alone is. */
export interface SafetyInfo {
  lockout: LockoutInfo | null;
  guards: readonly GuardInfo[];
  notParked: string | null;
}

/** The condition of the prop; with `notParked` it is at rest, but not parked, and that says why. */
export interface ConditionResult {
  condition: Condition;
  notParked?: string;
}

/** One entry of `channel.list`; the value and target are as in `state`. */
export interface ChannelInfo {
  kind: 'servo' | 'relay' | 'rgb' | 'lamp';
  value: number | string | boolean | null;
  target: number | string | boolean;
  flags: string[];
  rail?: string;
  groups: string[];
  park: { to: number | string | boolean; then?: 'hold' | 'release' };
  wire?: string;
  /** Servo only, down to `pushing`. */
  limitsDeg?: [number, number];
  envelopeUs?: [number, number];
  calibration?: [number, number][];
  /** With it, the calibration counts degrees of the horn, everything else those of the flap. */
  linkage?: LinkageSpec;
  linkageFigures?: LinkageInfo;
  torque?: TorqueInfo;
  marks?: Record<string, number>;
  speedDegS?: number;
  accelDegS2?: number;
  jerkDegS3?: number;
  pulseUs?: number;
  pushing?: boolean;
  /** Relay only. */
  duty?: { maxOnS: number; restS: number };
  vapour?: VapourInfo;
  /** Rgb and lamp. */
  fadeS?: number;
}

/** A linkage within the soft limits. */
export interface LinkageInfo {
  /** Least angle between rod and flap arm (deg), and where the flap is then (deg). */
  transmissionDeg: number;
  transmissionAtDeg: number;
  /** The fastest that the horn turns while the flap keeps its speed limit (deg/s). */
  hornSpeedDegS: number;
  /** Torque on the flap for 1 N m on the horn, least and most. */
  advantage: [number, number];
}

/** The most that a servo has to bring within its soft limits. */
export interface TorqueInfo {
  worstNm: number;
  /** Where that is (deg). */
  atDeg: number;
  /** The part of it that accelerates (N m). */
  accelerationNm: number;
  stallNm?: number;
  /** Stall torque by worst torque; common practice is 2 or more. */
  margin?: number;
}

export interface VapourInfo {
  tankMl: number;
  rateMlPerH: number;
  /** How long the tank lasts with the unit on all the time (s). */
  runTimeS: number;
  /** How long it lasts when the unit is on as often as its duty allows (s). */
  showTimeS?: number;
}

/** A channel as it appears in a `state` notification. */
export interface ChannelState {
  /**
   * Servo: deg. Relay: true when closed. Lamp: perceived lightness 0..1. Rgb: #rrggbb. Null of a relay
   * or light that is `unknown`: its board cannot be reached.
   */
  value: number | boolean | string | null;
  target: number | boolean | string;
  flags: string[];
  /** Estimated draw (A). */
  amps: number;
  /** Servo only: pulse width (us), 0 while released; pushing against something; what is measured. */
  pulseUs?: number;
  pushing?: boolean;
  measuredDeg?: number;
  measuredA?: number;
}

/** The load of every rail during a cue, for a plot. */
export interface CueRails {
  cue: string;
  durationS: number;
  /** It goes on until it is stopped; only so much of it was computed. */
  cutShort: boolean;
  rails: {
    name: string;
    limitA: number;
    peakA: number;
    peakAtS: number;
    /** If every servo that moves then were stalled. */
    worstA: number;
    worstAtS: number;
    meanA: number;
    /** At the start, then the farthest value in each column of equal time. */
    amps: number[];
  }[];
}

export interface JournalEntry {
  /** Counts up from 1 within one run of the daemon; `since` returns entries above it. */
  seq: number;
  /** Wall-clock time, ISO 8601. */
  time: string;
  /** Who asked: the client's name, or `prop` when it acted by itself. */
  who: string;
  /** What happened, e.g. `channel.move`, `refused`, `condition`, `link lost`. */
  what: string;
  /** One sentence for a person. */
  text: string;
  values?: Record<string, unknown>;
  /** The tick that carried it out, or in which it happened; `tick` in `state` counts the same. */
  tick: number;
  /** How many like it the entry stands for: it is the last of them. */
  count?: number;
  /** The ticks of all that it stands for, where these are commands. */
  ticks?: number[];
}

// --- between the threads -----------------------------------------------------------------------

/** Gateway to core. `slot` is the session's place in the shared signs of life. */
export type ToCore =
  | { t: 'listening'; host: string; port: number }
  | { t: 'cannot-listen'; reason: string }
  | { t: 'open'; session: string; slot: number; client: string }
  | { t: 'gone'; session: string; why: string }
  /** An OSC message has come in. */
  | { t: 'osc'; address: string }
  /** Answered by `done` when what the session asked for before has begun. */
  | { t: 'fence'; id: number; session: string }
  | { t: 'call'; id: number; session: string; method: CoreMethod; params: unknown };

/** Core to gateway. */
export type ToGateway =
  /** `text` is the result as JSON: written once, spliced into the answer as it is. */
  | { t: 'done'; id: number; text: string }
  | { t: 'fail'; id: number; error: import('../shared/errors.ts').ErrorObject }
  /** The core holds this session's link for lost: the gateway drops it without ceremony. */
  | { t: 'lost'; session: string }
  | { t: 'holder'; holder: string | null }
  /** An entry of the journal; with `again` it takes the place of the one with the same `seq`. */
  | { t: 'event'; entry: JournalEntry; again?: true }
  /** Entries from before this gateway was started, oldest first; they are news to nobody. */
  | { t: 'entries'; entries: JournalEntry[] }
  /** What runs by itself, whenever that changes. */
  | { t: 'running'; cues: string[]; idle: string | null; armed: boolean }
  /** Another version of the prop is in force from now on. `view` is a `PropView` as JSON. */
  | {
      t: 'prop';
      view: Uint8Array;
      body: import('../shared/telemetry.ts').TelemetryBody;
      changed: string[];
    }
  /** How the file on the disk stands to the prop in force. */
  | { t: 'file'; status: import('../prop/file/status.ts').FileStatus }
  /** The prop-file service was started again: the new line to it. */
  | { t: 'service'; port: import('node:worker_threads').MessagePort }
  | { t: 'safety'; safety: SafetyInfo }
  | { t: 'close' };

/** What the gateway is started with. */
export interface GatewayStart {
  host: string;
  port: number;
  /** sha256 of the token, or null where none is asked for. */
  tokenHash: Uint8Array | null;
  /** A `PropView` as JSON. */
  view: Uint8Array;
  status: import('../prop/file/status.ts').FileStatus;
  telemetry: import('../shared/telemetry.ts').TelemetryBuffers;
  logLevel: string;
  /** The line to the prop-file service. */
  service: import('node:worker_threads').MessagePort;
}
