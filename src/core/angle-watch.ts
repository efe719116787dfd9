import { tidy } from '../shared/units.ts';
import type { CoreContext } from './core-context.ts';
import type { MeasuredAngle } from './measured-angle.ts';
import type { Sense } from './senses.ts';
import type { Servo } from './servo.ts';

/**
 * What the measured angles of servos say: one that did not arrive, that is far behind on its way, or that
 * was moved while it was limp. It warns, and moves nothing.
 */
export class AngleWatch {
  readonly #context: CoreContext;

  constructor(context: CoreContext) {
    this.#context = context;
  }

  /** After every reading; true when what is said has changed. */
  tick(): boolean {
    const { body, nowMs, nowS } = this.#context;
    const { angles, senses } = body;
    let changed = false;
    for (let i = 0; i < angles.length; i++)
      if (angles[i]!.look(senses, nowMs, nowS)) {
        changed = true;
        this.#tell(angles[i]!);
      }
    return changed;
  }

  /** What is said of the servo whose angle a sense measures. */
  notesOf(sense: Sense): string[] {
    const angle = this.#context.body.angles.find((one) => one.sense === sense);
    return angle?.trouble === undefined ? [] : [troubleText(angle)];
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

function wholeDeg(deg: number): number {
  return Math.round(deg) + 0;
}
