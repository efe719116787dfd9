import { Refusal } from '../shared/errors.ts';
import type { RefusalCode } from '../shared/refusals.ts';

/** An error as it is sent from thread to thread: a message alone would lose its class and code. */
export interface PackedError {
  message: string;
  code?: string;
  refusal?: { code: RefusalCode; values: Record<string, unknown> };
}

/** Packs an error for another thread. */
export function packError(error: unknown): PackedError {
  if (!(error instanceof Error)) return { message: String(error) };
  const { message, code } = error as NodeJS.ErrnoException;
  return {
    message,
    ...(code !== undefined && { code }),
    ...(error instanceof Refusal && { refusal: { code: error.word, values: error.values } }),
  };
}

/** The error that was carried, with its class and code. */
export function unpackError({ message, code, refusal }: PackedError): Error {
  if (refusal) return new Refusal(refusal.code, message, refusal.values);
  return Object.assign(new Error(message), code !== undefined && { code });
}
