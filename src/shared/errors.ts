import { CODES, type ErrorName } from './error-codes.ts';
import { plain } from './plain.ts';
import { REFUSALS, type RefusalCode } from './refusals.ts';

export { CODES, type ErrorName };

/** What `error.data` carries in an answer: the stable word, the reason in words, and the values behind it. */
export interface ErrorData {
  code: RefusalCode;
  reason: string;
  [value: string]: unknown;
}

/** The wire form of an error, as JSON-RPC 2.0 section 5.1 has it. */
export interface ErrorObject {
  code: number;
  message: string;
  data: ErrorData;
}

/** The message of each class of error: JSON-RPC 2.0, section 5.1, and ours. */
export const MESSAGES: Record<ErrorName, string> = {
  parse: 'Parse error',
  invalidRequest: 'Invalid Request',
  methodNotFound: 'Method not found',
  invalidParams: 'Invalid params',
  internal: 'Internal error',
  notHolder: 'Not the lease holder',
  outOfLimits: 'Out of limits',
  condition: 'The condition forbids it',
  interlock: 'Interlock',
  noSuchThing: 'No such thing',
  notAuthorised: 'Not authorised',
  dutyRest: 'Duty rest',
  railLimit: 'Rail limit',
  tooMany: 'Too many requests',
  link: 'Link',
};

/**
 * A request that cannot be done. `reason` is a whole sentence for a person that says what is wrong
 * and what to do about it; `values` are the numbers and names behind it.
 */
export class Refusal extends Error {
  /** The stable word, which an answer carries as `data.code`. */
  readonly word: RefusalCode;
  /** The numbers and names behind it, and the stable code again, as `code`. */
  readonly values: Record<string, unknown>;

  constructor(word: RefusalCode, reason: string, values: Record<string, unknown> = {}) {
    // It may quote what a client has sent.
    super(plain(reason));
    this.name = 'Refusal';
    this.word = word;
    this.values = { ...values, code: word };
  }

  /** The class of error that it belongs to. */
  get kind(): ErrorName {
    return REFUSALS[this.word][0];
  }

  /** The number of that class. */
  get code(): number {
    return CODES[this.kind];
  }

  toObject(): ErrorObject {
    return {
      code: this.code,
      message: MESSAGES[this.kind],
      data: { reason: this.message, ...this.values, code: this.word },
    };
  }
}

/** What is not a refusal is a fault of ours, and is reported as one. */
export function asRefusal(error: unknown): Refusal {
  if (error instanceof Refusal) return error;
  return new Refusal('daemon.fault', `this is a fault in Sinew: ${(error as Error).message}`);
}
