import { Refusal } from '../shared/errors.ts';
import { tidy } from '../shared/units.ts';
import type { CoreContext } from './core-context.ts';
import type { Servo } from './servo.ts';

/**
 * Servos that a person turns by hand, limp, while their angles are measured: so marks and limits are shown
 * instead of jogged to. Meanwhile nothing moves and nothing closes, but for a stop, a park and what a lost
 * link does. At the end they get their pulses where they are measured, one at a time, as at a wake.
 */
export class Teacher {
  readonly #context: CoreContext;
  #servos: readonly Servo[] = [];
  #ending = false;

  constructor(context: CoreContext) {
    this.#context = context;
  }

  get active(): boolean {
    return this.#servos.length > 0;
  }

  /** Why nothing is commanded meanwhile. */
  readonly #refusal = (): Refusal => {
    const names = this.#servos.map(({ name }) => name).join(', ');
    return new Refusal(
      'teach.under-way',
      this.#ending
        ? `the pulses of ${names} come back; wait until that is done`
        : `a hand turns ${names}, so nothing else moves; end that first (teach.end), or park`,
      { servos: this.#servos.map(({ name }) => name) },
    );
  };

  /** @throws Refusal while servos are turned by hand */
  mustBeDone(): void {
    if (this.active) throw this.#refusal();
  }

  /**
   * Stops the pulses of servos, so that a hand can turn them; nothing else moves from then on.
   * @throws Refusal for one whose sense cannot be trusted now, and while anything moves; nothing has changed then
   */
  begin(servos: readonly Servo[], who: string): void {
    this.mustBeDone();
    const { body, cues, nowS } = this.#context;
    const moving = body.servos.find((servo) => servo.moving || servo.delayed);
    if (moving || cues.anyRunning)
      throw new Refusal(
        'teach.moving',
        `${moving ? `${moving.name} moves` : 'a cue runs'}; let it end, or stop it, before a hand goes in`,
        { ...(moving && { channel: moving.name }) },
      );
    for (const servo of servos) mustBeTrusted(servo, servo.angle?.unfit);
    this.#context.idle.forget();
    for (const servo of servos) {
      servo.release(nowS);
      servo.known = false;
      servo.lastDeg = Number.NaN;
    }
    this.#servos = servos;
    this.#context.blockedBy = this.#refusal;
    this.#context.gate.blocked ??= this.#refusal;
    this.#context.state.save(true);
    const names = servos.map(({ name }) => name);
    this.#context.journal.add(
      who,
      'teach.begin',
      `limp, to be turned by hand: ${names.join(', ')}`,
      {
        servos: names,
      },
    );
  }

  /**
   * They get their pulses where they are measured; nothing is near them any more.
   * @throws Refusal for one that cannot start there; all stay limp then
   */
  end(who: string): void {
    if (!this.active || this.#ending) return;
    for (const servo of this.#servos) {
      mustBeTrusted(servo, servo.angle?.doubt);
      if (Number.isNaN(servo.angle!.startDeg)) {
        const [low, high] = servo.limitsDeg;
        throw new Refusal(
          'teach.outside',
          `${servo.name} is measured at ${tidy(servo.angle!.deg, 1)} deg, outside its limits ${tidy(low)} to ${tidy(high)} deg; turn it back inside, or park`,
          { channel: servo.name, value: tidy(servo.angle!.deg), limitsDeg: [low, high] },
        );
      }
    }
    this.#ending = true;
    this.#context.waker.begin(this.#servos, this.#context.nowS, true);
    this.#context.journal.add(who, 'teach.end', `${who} has said that all hands are clear`);
  }

  /** Where a servo that is turned by hand is measured (deg). @throws Refusal where that cannot be trusted */
  measuredDeg(servo: Servo): number {
    if (!this.#servos.includes(servo) || this.#ending || servo.pulsing)
      throw new Refusal(
        'teach.not-limp',
        `${servo.name} has its pulses: a measured angle is captured while a hand turns it (teach.begin); otherwise capture where it is commanded to`,
        { channel: servo.name },
      );
    mustBeTrusted(servo, servo.angle?.doubt);
    const { steadyDeg, withinDeg } = servo.angle!;
    const [low, high] = servo.envelopeDeg;
    if (steadyDeg < low - withinDeg || steadyDeg > high + withinDeg)
      throw new Refusal(
        'capture.outside',
        `${servo.name} is measured at ${tidy(steadyDeg, 1)} deg, where no pulse can hold it: its envelope is ${tidy(low)} to ${tidy(high)} deg; turn it back inside`,
        { channel: servo.name, value: tidy(steadyDeg), limitsDeg: [low, high] },
      );
    return steadyDeg;
  }

  /** Once a tick. */
  tick(): void {
    if (!this.active) return;
    const { condition, waker, inhibits, nowS } = this.#context;
    if (condition !== 'live') {
      this.#over();
      return;
    }
    if (!this.#ending || inhibits.active) return;
    const done = waker.tick(nowS);
    const { doubt } = waker;
    if (!done && doubt === undefined) return;
    this.#over();
    if (doubt !== undefined) this.#context.parkAway(doubt, 0);
    else this.#context.state.save(false);
  }

  #over(): void {
    this.#servos = [];
    this.#ending = false;
    this.#context.blockedBy = undefined;
    if (!this.#context.inhibits.active) this.#context.gate.blocked = undefined;
  }
}

/** @param amiss what is wrong with its sense @throws Refusal with that, and what to do */
function mustBeTrusted({ angle, name }: Servo, amiss: string | undefined): void {
  const doubt = angle ? amiss : 'no sense measures its angle; add one of kind position';
  if (doubt === undefined) return;
  throw new Refusal(
    'teach.not-measured',
    `the angle of ${name} cannot be taken from its sense: ${doubt}`,
    {
      channel: name,
    },
  );
}
