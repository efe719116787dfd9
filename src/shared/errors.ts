import { plain } from './plain.ts';

/** JSON-RPC 2.0 error codes (section 5.1) and Sinew's own, in the range the standard leaves free. */
export const CODES = {
  parse: -32700,
  invalidRequest: -32600,
  methodNotFound: -32601,
  invalidParams: -32602,
  internal: -32603,
  notHolder: -32001,
  outOfLimits: -32002,
  condition: -32003,
  interlock: -32004,
  noSuchThing: -32005,
  notAuthorised: -32006,
  dutyRest: -32007,
  railLimit: -32008,
  tooMany: -32009,
} as const;

export type ErrorName = keyof typeof CODES;

/** What `error.data` carries in an answer: the reason in words, and the values behind it. */
export interface ErrorData {
  reason: string;
  [value: string]: unknown;
}

/** The wire form of an error, as JSON-RPC 2.0 section 5.1 has it. */
export interface ErrorObject {
  code: number;
  message: string;
  data: ErrorData;
}

const MESSAGES: Record<ErrorName, string> = {
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
};

/**
 * A request that cannot be done. `reason` is a whole sentence for a person that says what is wrong
 * and what to do about it; `values` are the numbers and names behind it.
 */
export class Refusal extends Error {
  readonly kind: ErrorName;
  readonly values: Record<string, unknown>;

  constructor(kind: ErrorName, reason: string, values: Record<string, unknown> = {}) {
    // It may quote what a client has sent.
    super(plain(reason));
    this.name = 'Refusal';
    this.kind = kind;
    this.values = values;
  }

  get code(): number {
    return CODES[this.kind];
  }

  toObject(): ErrorObject {
    return {
      code: this.code,
      message: MESSAGES[this.kind],
      data: { reason: this.message, ...this.values },
    };
  }
}

/** What is not a refusal is a fault of ours, and is told as one. */
export function asRefusal(error: unknown): Refusal {
  if (error instanceof Refusal) return error;
  return new Refusal('internal', `this is a fault in Sinew: ${(error as Error).message}`);
}
