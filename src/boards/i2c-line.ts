import type { I2cCall, I2cReply } from './i2c-server.ts';
import { unpackError } from './packed-error.ts';

interface Asked {
  call: I2cCall;
  /** It is a reading, which gives way. */
  gives: boolean;
  resolve: (value: number | number[]) => void;
  reject: (error: Error) => void;
}

/**
 * The calls to a bus's thread, which makes them in the order in which it gets them. Of the readings it
 * gets only one at a time, so however many boards measure, any other call waits for one reading at most:
 * three words take 1.5 ms at 100 kHz and 0.4 ms at 400 kHz (9 clocks a byte, 5 bytes a word, 3 for START,
 * repeated START and STOP), which is less than a tick. Readings never starve: the thread always has one.
 */
export class I2cLine {
  readonly #post: (call: I2cCall) => void;
  /** What the thread has got, in order. */
  readonly #sent: Asked[] = [];
  /** Readings that wait for the one that the thread has. */
  readonly #waiting: Asked[] = [];

  /** @param post hands a call to the thread */
  constructor(post: (call: I2cCall) => void) {
    this.#post = post;
  }

  /** Makes a call. */
  ask(call: I2cCall): Promise<number | number[]> {
    return new Promise((resolve, reject) => {
      this.#send({ call, gives: false, resolve, reject });
    });
  }

  /** Makes a call of a reading. */
  askReading(call: I2cCall): Promise<number | number[]> {
    return new Promise((resolve, reject) => {
      const asked = { call, gives: true, resolve, reject };
      if (this.#sent.some(({ gives }) => gives)) this.#waiting.push(asked);
      else this.#send(asked);
    });
  }

  /** The thread has answered the oldest of its calls. */
  answered(reply: I2cReply): void {
    const { gives, resolve, reject } = this.#sent.shift()!;
    const next = gives && this.#waiting.shift();
    if (next) this.#send(next);
    if ('value' in reply) resolve(reply.value);
    else reject(unpackError(reply.error));
  }

  /** The thread has ended: nothing more is answered. */
  ended(cause: Error): void {
    for (const { reject } of [...this.#sent.splice(0), ...this.#waiting.splice(0)]) reject(cause);
  }

  #send(asked: Asked): void {
    this.#sent.push(asked);
    this.#post(asked.call);
  }
}
