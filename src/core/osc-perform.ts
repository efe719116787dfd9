import { Refusal } from '../shared/errors.ts';
import { armedHolder, degAt, type OutsideHost, OutsideRefusals } from './led-from-outside.ts';

/**
 * OSC messages that lead servos, where the prop file says which address leads which. They carry no token,
 * so they take effect only while somebody has control and has let them, as triggers do.
 */
export class OscPerform {
  readonly #core: OutsideHost;
  readonly #refusals: OutsideRefusals;

  constructor(core: OutsideHost) {
    this.#core = core;
    this.#refusals = new OutsideRefusals(core, 'OSC');
  }

  /** Takes the newest value of each address, 0 to 1; null where it carried no number. */
  hear(values: Readonly<Record<string, number | null>>): void {
    this.#core.catchUp();
    const { perform = {} } = this.#core.prop.osc ?? {};
    for (const [address, value] of Object.entries(values)) {
      // The prop file may have changed since it was heard.
      if (!Object.hasOwn(perform, address)) continue;
      const { channel } = perform[address]!;
      try {
        this.#lead(address, value);
      } catch (error) {
        if (!(error instanceof Refusal)) throw error;
        this.#refusals.tell(address, error, { address, channel });
      }
    }
  }

  #lead(address: string, value: number | null): void {
    const { body, performer, prop } = this.#core;
    const holder = armedHolder(this.#core, 'OSC');
    if (value === null || !(value >= 0 && value <= 1))
      throw new Refusal(
        'osc.wrong-value',
        'it leads by one number from 0 to 1, and has another value',
        { value },
      );
    const led = prop.osc!.perform![address]!;
    const servo = body.servo(led.channel);
    performer.lead({ servo, targetDeg: degAt(servo, led, value) }, holder, `OSC ${address}`);
  }
}
