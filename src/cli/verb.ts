import type { Desk } from './desk.ts';

/** The values of a verb's arguments and options, by name. */
export type Given = Record<string, unknown>;

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
  /** As commander has it, e.g. `--over <S>`. The value goes by the long name. */
  flags: string;
  doc: string;
  parse?: (text: string) => unknown;
  choices?: readonly string[];
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

/**
 * One command. The command line and the session's prompt are both made from the same table of
 * these.
 */
export interface Verb<G = Given> {
  name: string;
  summary: string;
  args: readonly Argument[];
  options?: readonly VerbOption[];
  /** Where it can be typed. */
  where: 'line' | 'prompt' | 'both';
  /** It is meant to change the condition of the prop, which is then no news. */
  changesCondition?: boolean;
  /** It is meant to change the prop file, which is then no news. */
  changesFile?: boolean;
  /** It sees to Ctrl-C, the loss of the link and the lease by itself, and prints as it goes. */
  independent?: boolean;
  run(given: G, desk: Desk): Promise<Outcome>;
}

/** Declares a verb whose arguments and options have the shape `G`. */
export function verb<G = Given>(spec: Verb<G>): Verb {
  return spec as Verb<unknown> as Verb;
}
