import type { CoreMethod } from '../api/methods.ts';
import type { GuardInfo, JournalEntry, LockoutInfo } from '../api/types.ts';
import type { SenseNote } from './senses.ts';

/** What the gateway and the core say to each other. */

/** What keeps the prop from waking and moving; and why it is not parked, where its condition alone is. */
export interface SafetyInfo {
  lockout: LockoutInfo | null;
  guards: readonly GuardInfo[];
  notParked: string | null;
  /** What is measured and not as it should be; absent where all is. */
  senses?: readonly SenseNote[];
}

/** Gateway to core. `slot` is the session's place in the shared signs of life. */
export type ToCore =
  | { t: 'listening'; host: string; port: number }
  | { t: 'cannot-listen'; reason: string }
  | { t: 'open'; session: string; slot: number; client: string }
  | { t: 'gone'; session: string; why: string }
  /** An OSC message has come in. */
  | { t: 'osc'; address: string }
  /** The newest values of addresses that lead servos; null where there was no number. */
  | { t: 'osc-perform'; values: Record<string, number | null> }
  /** The levels of a lighting desk, 0 to 1; null where sources disagree on a servo. */
  | { t: 'e131'; levels: Record<string, readonly number[] | null>; sources: readonly string[] }
  /** Answered by `done` when what the session asked for before has begun. */
  | { t: 'fence'; id: number; session: string }
  | { t: 'call'; id: number; session: string; method: CoreMethod; params: unknown };

/** Core to gateway. */
export type ToGateway =
  /** `text` is the result as JSON: written once, spliced into the answer as it is. */
  | { t: 'done'; id: number; text: string }
  | { t: 'fail'; id: number; error: import('../shared/errors.ts').ErrorObject }
  /** The core regards this session's link as lost: the gateway drops it at once. */
  | { t: 'lost'; session: string }
  | { t: 'holder'; holder: string | null }
  /** An entry of the journal; with `again` it takes the place of the one with the same `seq`. */
  | { t: 'event'; entry: JournalEntry; again?: true }
  /** Entries from before this gateway was started, oldest first; they are news to nobody. */
  | { t: 'entries'; entries: JournalEntry[] }
  /** What runs by itself, whenever that changes. */
  | {
      t: 'running';
      cues: string[];
      idle: string | null;
      armed: boolean;
      /** Who has armed the prop for its show; absent where nobody has. */
      armedForShow?: string | undefined;
    }
  /** Another version of the prop is in use from now on. `view` is a `PropView` as JSON. */
  | {
      t: 'prop';
      view: Uint8Array;
      body: import('../shared/telemetry.ts').TelemetryBody;
      changed: string[];
    }
  /** How the file on the disk differs from the prop in use. */
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
