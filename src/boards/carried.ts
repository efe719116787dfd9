import { type ErrorName, Refusal } from '../shared/errors.ts';

/** An error on its way from one thread to another, which would lose its class and its code. */
export interface CarriedError {
  message: string;
  code?: string;
  refusal?: { kind: ErrorName; values: Record<string, unknown> };
}

/** An error as it goes from thread to thread. */
export function carried(error: unknown): CarriedError {
  if (!(error instanceof Error)) return { message: String(error) };
  const { message, code } = error as NodeJS.ErrnoException;
  return {
    message,
    ...(code !== undefined && { code }),
    ...(error instanceof Refusal && { refusal: { kind: error.kind, values: error.values } }),
  };
}

/** The error that was carried, with its class and code. */
export function unpacked({ message, code, refusal }: CarriedError): Error {
  if (refusal) return new Refusal(refusal.kind, message, refusal.values);
  return Object.assign(new Error(message), code !== undefined && { code });
}
