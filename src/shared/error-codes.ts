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
  /** The daemon cannot be reached, or was lost: said by the command line, never by the daemon. */
  link: -32000,
} as const;

export type ErrorName = keyof typeof CODES;
