import { I2cDevice } from './i2c-dev.ts';
import { type PackedError, packError } from './packed-error.ts';

/** Calls to a bus's thread; each gets one reply, in order. */
export type I2cCall =
  | { t: 'open' | 'plain' | 'close' }
  | { t: 'readByte'; address: number; register: number }
  | { t: 'writeByte'; address: number; register: number; byte: number }
  | { t: 'readWords'; address: number; registers: readonly number[] }
  | { t: 'writeWord'; address: number; register: number; word: number }
  | { t: 'writeBlock'; address: number; register: number; bytes: Uint8Array }
  | { t: 'write'; address: number; bytes: Uint8Array };

/** The result of a call; 0 where it has none. */
export type I2cReply = { value: number | number[] } | { error: PackedError };

/** The thread's side of a bus: opened by its first user, closed by its last. */
export class I2cServer {
  readonly #bus: number;
  #device: I2cDevice | undefined;
  #users = 0;

  constructor(bus: number) {
    this.#bus = bus;
  }

  answer(call: I2cCall): I2cReply {
    try {
      return { value: this.#do(call) };
    } catch (error) {
      return { error: packError(error) };
    }
  }

  #do(call: I2cCall): number | number[] {
    if (call.t === 'open') {
      this.#device ??= new I2cDevice(this.#bus);
      this.#users++;
      return 0;
    }
    const device = this.#device;
    if (!device) throw new Error('the bus is not open');
    switch (call.t) {
      case 'plain':
        return device.plain ? 1 : 0;
      case 'readByte':
        return device.readByte(call.address, call.register);
      case 'writeByte':
        device.writeByte(call.address, call.register, call.byte);
        return 0;
      case 'readWords':
        return call.registers.map((register) => device.readWord(call.address, register));
      case 'writeWord':
        device.writeWord(call.address, call.register, call.word);
        return 0;
      case 'writeBlock':
        device.writeBlock(call.address, call.register, call.bytes);
        return 0;
      case 'write':
        return device.write(call.address, call.bytes);
      case 'close':
        if (--this.#users === 0) {
          this.#device = undefined;
          device.close();
        }
        return 0;
    }
  }
}
