import { randomBytes } from 'node:crypto';
import { Refusal } from '../shared/errors.ts';
import { hashToken, tokenMatches } from './token.ts';

/** Random bytes of a code and of a device's token: 144 bits, more than the 128 that a token must hold. */
const BYTES = 18;
/** Codes that may wait to be used, and devices that were let in: the oldest gives way. */
const MAX_CODES = 8;
const MAX_DEVICES = 64;

interface Code {
  hash: Uint8Array;
  voidAtMs: number;
}

/**
 * Codes that let one more device in without the token being typed there: each works once and for a short
 * time. The device gets a token of its own for it. All of them are gone when the gateway ends.
 */
export class Invites {
  readonly #nowMs: () => number;
  #codes: Code[] = [];
  #devices: Uint8Array[] = [];

  constructor(nowMs: () => number) {
    this.#nowMs = nowMs;
  }

  /** A code that works once within `forS` seconds. */
  make(forS: number): string {
    const code = randomBytes(BYTES).toString('base64url');
    const voidAtMs = this.#nowMs() + forS * 1000;
    this.#codes = [...this.#codes, { hash: hashToken(code), voidAtMs }].slice(-MAX_CODES);
    return code;
  }

  /** The token of the device that brings a code. @throws Refusal `invite.void` */
  use(code: string): string {
    const nowMs = this.#nowMs();
    // All are compared, so that the time it takes says nothing.
    const found = this.#codes.filter(({ hash }) => tokenMatches(code, hash));
    this.#codes = this.#codes.filter((one) => !found.includes(one) && nowMs < one.voidAtMs);
    if (!found.some(({ voidAtMs }) => nowMs < voidAtMs))
      throw new Refusal(
        'invite.void',
        'this link was used already, is too old, or was never one; make another with: sinew token --qr',
      );
    const token = randomBytes(BYTES).toString('base64url');
    this.#devices = [...this.#devices, hashToken(token)].slice(-MAX_DEVICES);
    return token;
  }

  /** Whether this is the token of a device that was let in. */
  knows(token: string): boolean {
    return this.#devices.filter((hash) => tokenMatches(token, hash)).length > 0;
  }
}
