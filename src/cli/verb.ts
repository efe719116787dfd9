import type { Readable, Writable } from 'node:stream';
import type { Method, Params, Result } from '../api/methods.ts';
import type { ChannelState } from '../api/types.ts';
import type { Clock } from '../shared/clock.ts';
import type { Condition } from '../shared/condition.ts';
import type { Client, LinkLost, Opened, StateParams } from './client.ts';
import type { Address } from './values.ts';

/** The values of a verb's arguments and options, by name. */
export type Inputs = Record<string, unknown>;

/** What a name stands for: the prompt completes it from what the prop has. */
export type NameKind = 'channel' | 'target' | 'mark' | 'pose';

export interface Argument {
  name: string;
  doc: string;
  parse?: (text: string) => unknown;
  choices?: readonly string[];
  /** May be left out; the value is then undefined. */
  optional?: boolean;
  /** Takes all the words that are left, joined by spaces. */
  rest?: boolean;
  names?: NameKind;
}

export interface VerbOption {
  /** As commander has it, e.g. `--over <S>`. The value has the long name as its key. */
  flags: string;
  doc: string;
  parse?: (text: string) => unknown;
  choices?: readonly string[];
  /** It cannot be left out. */
  required?: true;
}

/** What a verb did. */
export interface Outcome {
  /** Printed by --json. */
  result: unknown;
  /** Printed otherwise. Empty when everything is said already. */
  text: string;
  /** The exit code where it is not 0. */
  exit?: number;
}

/** The world around the command; tests bring their own. */
export interface Io {
  stdin: Readable & { isTTY?: boolean };
  stdout: Writable & { isTTY?: boolean };
  stderr: Writable;
  env: Record<string, string | undefined>;
  clock: Clock;
  /** Calls `handler` on Ctrl-C instead of ending the process, until the returned function is called. */
  onInterrupt(handler: () => void): () => void;
}

export interface OperatorOptions {
  address: Address;
  token: string | undefined;
  /** The name that the journal and other sessions see. */
  name: string;
  json: boolean;
  wake: boolean;
  /** Servos whose position is unknown may be woken: the user has made sure that hands are clear. */
  confirmUnknown: boolean;
  /** Seconds of grace at the end, if asked for. */
  graceS: number | undefined;
  /** The version of Sinew. */
  program: string;
}

/** What a verb may use: one user. operator.ts has the connection behind it. */
export interface Operator {
  readonly io: Io;
  readonly options: OperatorOptions;
  /** A session keeps the lease, and leaves it to the daemon to refuse what the condition forbids. */
  inSession: boolean;
  /** Called with what happened on the prop without this user asking for it. */
  onNotice: (text: string) => void;
  /** Asks the user a question on the terminal; a session asks at its own prompt. */
  ask: (question: string, signal: AbortSignal) => Promise<string>;
  readonly condition: Condition | undefined;
  /** In words, with the reason where it is at rest but not parked. */
  readonly conditionText: string;
  /** For a prompt. */
  readonly conditionWord: string;
  /** Whether a verb runs. */
  readonly busy: boolean;
  /** Set once the link that was there is gone. */
  readonly lost: LinkLost | undefined;
  connect(): Promise<Opened>;
  client(): Promise<Client>;
  call<M extends Method>(method: M, params: Params<M>): Promise<Result<M>>;
  /**
   * A call that writes to the prop file. When the link goes before the answer, `run` finds out what
   * became of it.
   * @param what for people: `mark open of beak`
   */
  write<M extends Method>(what: string, method: M, params: Params<M>): Promise<Result<M>>;
  /** Takes the lease, if it is free; from then on Ctrl-C stops the motion. */
  lease(): Promise<void>;
  /** Takes the lease and makes sure that the prop is live; wakes it only with --wake. */
  live(): Promise<void>;
  /** Wakes the prop and waits until it is live; if it is just parking, waits for that first. */
  wake(confirmed?: boolean): Promise<void>;
  /** Ends a stop or a fault; whose stop it was must be named, or a person on the terminal says yes. */
  reset(confirm: string | undefined): Promise<Result<'reset'>>;
  /**
   * Leaves the lease to the next holder for `graceS`; the sentence that says so, or undefined if it
   * was not held.
   */
  handOver(graceS: number): Promise<string | undefined>;
  /** Runs a verb to its end, to Ctrl-C, or to the loss of the link, whichever is first. */
  run(verb: Verb, inputs: Inputs): Promise<Outcome>;
  /** Ctrl-C: stops the motion, and with it the verb that runs. What was done, in words. */
  interrupt(): Promise<string>;
  /** Follows `state`, and in a session the journal, too. */
  follow(): Promise<void>;
  /** The next notification of the state. */
  state(): Promise<StateParams>;
  /** Waits `ms`, or until the verb that waits is ended otherwise. */
  sleep(ms: number): Promise<void>;
  /**
   * Waits until none of `channels` moves, fades or waits for its rail. `follow` must have been
   * called before the command that set them going.
   * @throws Refusal when the prop stops being live meanwhile.
   */
  rest(channels: readonly string[]): Promise<void>;
  /** Waits at least two frames, until `done` is true of the followed state. */
  until(done: (channels: ReadonlyMap<string, ChannelState>) => boolean): Promise<void>;
}

/**
 * One command. The command line and the session's prompt are both made from the same table of
 * these.
 */
export interface Verb<G = Inputs> {
  name: string;
  /** Other words for it. */
  aliases?: readonly string[];
  summary: string;
  args: readonly Argument[];
  options?: readonly VerbOption[];
  /** Where it does its work: on the command line, in a session or script, or in both. */
  where: 'line' | 'prompt' | 'both';
  /** Left out of the help. */
  hidden?: boolean;
  /** It is meant to change the condition of the prop, which is then no news. */
  changesCondition?: boolean;
  /** It is meant to change the prop file, which is then no news. */
  changesFile?: boolean;
  /** It handles Ctrl-C, the loss of the link and the lease by itself, and prints as it goes. */
  independent?: boolean;
  run(inputs: G, operator: Operator): Promise<Outcome>;
}

/** Declares a verb whose arguments and options have the shape `G`. */
export function verb<G = Inputs>(spec: Verb<G>): Verb {
  return spec as Verb<unknown> as Verb;
}
