import { Refusal } from '../shared/errors.ts';
import type { RefusalCode } from '../shared/refusals.ts';

/** An error on its way from one thread to another, which would lose its class and its code. */
export interface CarriedError {
  message: string;
  code?: string;
  refusal?: { code: RefusalCode; values: Record<string, unknown> };
}

export function carried(error: unknown): CarriedError {
  if (!(error instanceof Error)) return { message: String(error) };
  const { message, code } = error as NodeJS.ErrnoException;
  return {
    message,
    ...(code !== undefined && { code }),
    ...(error instanceof Refusal && { refusal: { code: error.word, values: error.values } }),
  };
}

export function unpacked({ message, code, refusal }: CarriedError): Error {
  if (refusal) return new Refusal(refusal.code, message, refusal.values);
  return Object.assign(new Error(message), code !== undefined && { code });
}
