import { tidy } from '../shared/units.ts';
import type { Body } from './body.ts';
import type { CoreContext } from './core-context.ts';
import type { MeasuredAngle } from './measured-angle.ts';
import type { Sense } from './senses.ts';
import type { Servo } from './servo.ts';

const MONTHS = [
  ...['January', 'February', 'March', 'April', 'May', 'June'],
  ...['July', 'August', 'September', 'October', 'November', 'December'],
] as const;

/**
 * What the measured angles of servos say: one that did not arrive, that is far behind on its way, or that
 * was moved while it was limp. It warns, and moves nothing.
 */
export class AngleWatch {
  readonly #context: CoreContext;
  #body: Body | undefined;

  constructor(context: CoreContext) {
    this.#context = context;
  }

  /** After every reading; true when what is said has changed. */
  tick(): boolean {
    const { body, nowMs, nowS } = this.#context;
    const { angles, senses } = body;
    // What was known before is said again.
    let changed = body !== this.#body && angles.some(({ slip }) => slip.slipped);
    this.#body = body;
    for (let i = 0; i < angles.length; i++)
      if (angles[i]!.look(senses, nowMs, nowS)) {
        changed = true;
        this.#tell(angles[i]!);
      }
    for (let i = 0; i < angles.length; i++)
      if (angles[i]!.noted !== angles[i]!.arrivals && this.#note(angles[i]!)) changed = true;
    return changed;
  }

  /** What is said of the servo whose angle a sense measures. */
  notesOf(sense: Sense): string[] {
    const angle = this.#context.body.angles.find((one) => one.sense === sense);
    if (!angle) return [];
    const { slipped } = angle.slip;
    return [
      ...(angle.trouble === undefined ? [] : [troubleText(angle)]),
      ...(slipped ? [slipText(angle.servo.name, slipped)] : []),
    ];
  }

  /** Records how it has arrived. @returns whether its horn has slipped, or is back */
  #note(angle: MeasuredAngle): boolean {
    angle.noted = angle.arrivals;
    const { slip, servo, sense } = angle;
    if (!slip.note(angle.offsetDeg, this.#context.clock.wallMs())) return false;
    const { slipped } = slip;
    const text = slipped
      ? slipText(servo.name, slipped)
      : `${servo.name} is measured at rest again as it was when its record began`;
    this.#context.journal.add('prop', 'sense', text, {
      ...{ sense: sense.name, channel: servo.name },
      ...(slipped && { byDeg: tidy(slipped.byDeg) }),
    });
    return true;
  }

  /** Nobody knows any more where it stands; one that wakes or parks just now goes on as it began. */
  #doubt(servo: Servo): void {
    if (this.#context.acting) return;
    servo.lastDeg = servo.setpoint.pos;
    servo.known = false;
    this.#context.state.save(true);
    this.#context.lookWhetherParked();
  }

  #tell(angle: MeasuredAngle): void {
    if (angle.trouble === undefined) return;
    const { sense, servo, troubleDeg, commandedDeg } = angle;
    if (angle.trouble === 'moved') this.#doubt(servo);
    this.#context.journal.recur('prop', 'sense', troubleText(angle), {
      ...{ sense: sense.name, channel: servo.name },
      ...{ measuredDeg: tidy(troubleDeg), commandedDeg: tidy(commandedDeg) },
    });
  }
}

/** In whole degrees: the journal counts what comes again. */
function troubleText({ trouble, servo, troubleDeg, commandedDeg }: MeasuredAngle): string {
  const { name } = servo;
  const [at, to] = [`${wholeDeg(troubleDeg)} deg`, `${wholeDeg(commandedDeg)} deg`];
  switch (trouble) {
    case 'astray':
      return `${name} did not arrive: commanded to ${to}, measured at ${at}; look for what blocks it, a slipped horn, or a sense that is wrong`;
    case 'displaced':
      return `${name} is no longer where it was commanded: commanded to ${to}, measured at ${at}; look for what pushes it, a slipped horn, or a sense that is wrong`;
    case 'behind':
      return `${name} is far behind on its way: commanded to ${to} by now, measured at ${at}`;
    default:
      return `${name} was moved while it was limp: left at ${to}, measured at ${at}`;
  }
}

/** `the horn of beak may have slipped by 6 deg since 3 November: ...` */
function slipText(name: string, { byDeg, sinceMs }: { byDeg: number; sinceMs: number }): string {
  const date = new Date(sinceMs);
  const day = `${date.getUTCDate()} ${MONTHS[date.getUTCMonth()]}`;
  return `the horn of ${name} may have slipped by ${wholeDeg(byDeg)} deg since ${day}; with the power off, see how it sits on its shaft and tighten its screw. If its sensor was moved instead, calibrate that again`;
}

function wholeDeg(deg: number): number {
  return Math.round(deg) + 0;
}
