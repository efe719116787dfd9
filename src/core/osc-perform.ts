import type { Prop } from '../prop/schema.ts';
import { Refusal } from '../shared/errors.ts';
import type { Body } from './body.ts';
import type { Journal } from './journal.ts';
import type { Lease } from './lease.ts';
import type { Performer } from './performer.ts';
import { degOf } from './servo.ts';

/** The same refusal of an address is in the journal no more often than this (s). */
const TELL_AGAIN_S = 1;

/** What leading servos by OSC needs from the core. */
interface OscHost {
  readonly prop: Prop;
  readonly body: Body;
  readonly journal: Journal;
  readonly lease: Lease;
  readonly performer: Performer;
  readonly triggers: { readonly armed: boolean };
  /** Time of the last tick (s). */
  readonly nowS: number;
  catchUp(): void;
  mustBeLive(): void;
}

/**
 * OSC messages that lead servos, where the prop file says which address leads which. They carry no token,
 * so they take effect only while somebody has control and has let them, as triggers do.
 */
export class OscPerform {
  readonly #core: OscHost;
  /** By address: the last refusal in the journal, and when (s). */
  readonly #told = new Map<string, { word: string; atS: number }>();

  constructor(core: OscHost) {
    this.#core = core;
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
        this.#tell(address, channel, error);
      }
    }
  }

  /** Anybody may send OSC messages: like refusals are counted in one entry, now and then. */
  #tell(address: string, channel: string, { word, message, values }: Refusal): void {
    const { nowS, journal } = this.#core;
    const told = this.#told.get(address);
    if (told?.word === word && nowS < told.atS + TELL_AGAIN_S) return;
    this.#told.set(address, { word, atS: nowS });
    journal.recur('OSC', 'refused', `${address}: ${message}`, { address, channel, ...values });
  }

  #lead(address: string, value: number | null): void {
    const { lease, triggers, body, performer, prop } = this.#core;
    const { holder } = lease;
    if (!holder || holder.unattended)
      throw new Refusal('lease.not-taken', 'nobody has control, so OSC leads nothing');
    if (!triggers.armed)
      throw new Refusal(
        'trigger.not-armed',
        `${holder.client} has control and has not armed triggers and OSC`,
      );
    this.#core.mustBeLive();
    if (value === null || !(value >= 0 && value <= 1))
      throw new Refusal(
        'osc.wrong-value',
        'it leads by one number from 0 to 1, and has another value',
        { value },
      );
    const { channel, from, to } = prop.osc!.perform![address]!;
    const servo = body.servo(channel);
    const [low, high] = servo.limitsDeg;
    const fromDeg = from === undefined ? low : degOf(servo, from);
    const toDeg = to === undefined ? high : degOf(servo, to);
    // Written so that both ends are met without rounding, which might be outside the limits.
    const targetDeg = value === 1 ? toDeg : fromDeg + value * (toDeg - fromDeg);
    performer.lead({ servo, targetDeg }, holder, `OSC ${address}`);
  }
}
