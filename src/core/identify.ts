import { Refusal } from '../shared/errors.ts';
import { clamp } from '../shared/units.ts';
import type { Actuator } from './actuators.ts';
import { type ArriveHost, untilArrived } from './completion.ts';
import type { Gate } from './gate.ts';
import type { Lease, Session } from './lease.ts';
import type { Light } from './light.ts';
import type { Relay } from './relay.ts';
import type { Servo } from './servo.ts';
import type { Sound } from './sound.ts';

/** The largest size of a wiggle (deg), and the length of a blink or click (s). */
const WIGGLE_DEG = 3;
const WIGGLE_SPEED_DEG_S = 15;
const BLINK_S = 0.5;

/** What identifying a channel needs from the core. */
interface IdentifyHost extends ArriveHost {
  readonly gate: Gate;
  readonly lease: Lease;
  mustBeLive(): void;
  fail(error: Error): void;
}

/** Small wiggles, clicks and blinks, through the gate, to find out which channel a wire belongs to. */
export class Identifier {
  readonly #core: IdentifyHost;

  constructor(core: IdentifyHost) {
    this.#core = core;
  }

  /** Wiggles, blinks or clicks once, through the gate; returns how long it takes (s). */
  start(actuator: Actuator, session: Session): number {
    return actuator.identify(this, session);
  }

  /** Closes an open relay for a moment, or opens a closed one, unless somebody else switches it. */
  click(relay: Relay, session: Session): number {
    const { gate, nowS, waits, lease } = this.#core;
    if (!relay.on) {
      gate.switch(relay, true, BLINK_S, nowS);
      return BLINK_S;
    }
    const { offAtS } = relay;
    gate.switch(relay, false, 0, nowS);
    const { changes } = relay;
    const clicking = waits.until(() => {
      const mine = relay.changes === changes && lease.holder?.id === session.id;
      if (!mine || this.#core.condition !== 'live') return true;
      const { nowS: thenS } = this.#core;
      if (thenS < nowS + BLINK_S) return undefined;
      if (offAtS > thenS) gate.switch(relay, true, offAtS - thenS, thenS);
      return true;
    });
    this.#inBackground(() => clicking);
    return BLINK_S;
  }

  /** Turns a servo a little to both sides. */
  wiggle(servo: Servo, session: Session): number {
    const [low, high] = servo.limitsDeg;
    const home = clamp(servo.setpoint.pos, low, high);
    const away = [home + WIGGLE_DEG, home - WIGGLE_DEG].map((deg) => clamp(deg, low, high));
    const stops = [...away, home];
    const overS = (2 * WIGGLE_DEG) / WIGGLE_SPEED_DEG_S;
    const go = (targetDeg: number): Promise<true> => {
      const moves = [{ servo, targetDeg }];
      this.#core.gate.move(moves, overS, session.client, this.#core.nowS);
      return untilArrived(this.#core, moves);
    };
    const first = go(stops[0]!);
    this.#inBackground(async () => {
      await first;
      for (const targetDeg of stops.slice(1)) {
        this.#core.mustBeLive();
        await go(targetDeg);
      }
    });
    return stops.length * overS;
  }

  /** Shows a light full, dark and full again. */
  blink(light: Light): number {
    const { gate, waits } = this.#core;
    const show = (bright: boolean) => () => light.blink(gate, bright);
    const steps = [show(true), show(false), show(true), light.keep(gate)];
    const startS = this.#core.nowS;
    let done = 0;
    const next = (): void => {
      steps[done]!();
      done++;
    };
    next();
    let { fades } = light;
    const blinking = waits.until(() => {
      if (light.fades !== fades || this.#core.condition !== 'live') return true;
      if (this.#core.nowS < startS + done * BLINK_S) return undefined;
      next();
      ({ fades } = light);
      return done === steps.length ? true : undefined;
    });
    this.#inBackground(() => blinking);
    return (steps.length - 1) * BLINK_S;
  }

  /** Plays a tone. */
  chirp(sound: Sound): void {
    this.#core.gate.chirp(sound);
  }

  /** What is still going on after its answer: the next command for the channel ends it. */
  #inBackground(work: () => Promise<unknown>): void {
    work().catch((error: Error) => {
      if (!(error instanceof Refusal)) this.#core.fail(error);
    });
  }
}
