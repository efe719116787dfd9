import type { Condition } from '../shared/condition.ts';
import { Refusal } from '../shared/errors.ts';
import { tidy } from '../shared/units.ts';
import type { Body } from './body.ts';
import type { Cues } from './cues.ts';
import type { Asked, Started } from './gate.ts';
import type { Relay } from './relay.ts';
import type { Move, Servo } from './servo.ts';
import { NOTE_WITHIN_S, type StateKeeper } from './state-keeper.ts';
import type { Waits } from './waits.ts';

/** What waiting for a result needs from the core. */
export interface ArriveHost {
  readonly waits: Waits;
  readonly body: Body;
  readonly cues: Cues;
  readonly state: StateKeeper;
  readonly condition: Condition;
  /** Time of the last tick (s since the core was made). */
  readonly nowS: number;
}

/**
 * What a move takes, and what it waits for, once that has been worked out.
 * @throws Refusal when it may not start after all; `condition` when something else came first
 */
export async function untilBegun(
  core: ArriveHost,
  { soon, ...started }: Asked,
  [first]: readonly Move[],
): Promise<Started> {
  const begun = soon ? await soon : started;
  if (begun) return begun;
  throw interrupted(core, first!);
}

/** @throws Refusal `condition` when something else took the servos over, or stopped them */
export function untilArrived(core: ArriveHost, moves: readonly Move[]): Promise<true> {
  // A delayed move has not been planned yet; it will be the next plan.
  const plans = new Map(moves.map(({ servo }) => [servo, servo.plans + (servo.delayed ? 1 : 0)]));
  return core.waits.until(() => {
    for (const { servo, targetDeg } of moves) {
      if (servo.delayed) return undefined;
      // What was waiting for its rail may have been replaced before it was ever planned.
      const elsewhere = !servo.moving && servo.setpoint.pos !== targetDeg;
      if (servo.plans !== plans.get(servo) || servo.interlocked || elsewhere)
        throw interrupted(core, { servo, targetDeg });
      if (servo.moving) return undefined;
    }
    return true;
  });
}

function interrupted(core: ArriveHost, { servo, targetDeg }: Move): Refusal {
  return new Refusal('move.interrupted', interruption(core, servo), {
    channel: servo.name,
    value: tidy(servo.setpoint.pos),
    target: targetDeg,
    condition: core.condition,
  });
}

function interruption(core: ArriveHost, servo: Servo): string {
  if (servo.interlocked) return `${servo.name} was held by an interlock on the way`;
  const { condition } = core;
  return condition === 'live'
    ? `another command took ${servo.name} over on the way`
    : `${servo.name} did not arrive: the prop is ${condition}`;
}

/** @throws Refusal `condition` when the prop ends up in another condition than the wanted one */
export async function untilCondition(
  core: ArriveHost,
  leaves: 'waking' | 'parking',
): Promise<void> {
  const expected = leaves === 'waking' ? 'live' : 'parked';
  await core.waits.until(() => {
    const { condition } = core;
    if (condition === leaves) return undefined;
    if (condition === expected) return true;
    throw new Refusal('condition.changed', `the prop is ${condition}, not ${expected}`, {
      condition,
    });
  });
}

/** @throws Refusal `condition` when the cue was ended early */
export async function untilOver(core: ArriveHost, cue: string): Promise<void> {
  const run = core.cues.runCount(cue);
  await core.waits.until(() => {
    if (core.cues.isRunning(cue) && core.cues.runCount(cue) === run) return undefined;
    if (core.cues.endedItself(cue, run)) return true;
    throw new Refusal(
      'cue.ended-early',
      `cue ${cue} was ended early; the prop is ${core.condition}`,
      {
        cue,
        condition: core.condition,
      },
    );
  });
}

/** Resolves when the state is on the disk, or with the reason why it is not. */
export async function untilSaved(core: ArriveHost): Promise<string | true> {
  const untilS = core.nowS + NOTE_WITHIN_S;
  const poll = (): string | true | undefined => {
    const { noted } = core.state;
    if (noted === 'yes') return true;
    if (noted !== 'not yet') return noted.message;
    return core.nowS >= untilS ? `the disk has not answered for ${NOTE_WITHIN_S} s` : undefined;
  };
  return poll() ?? (await core.waits.until(poll));
}

/**
 * Resolves when it is on the disk that a relay with a duty guard closes, so that it may, or when
 * somebody has opened it again meanwhile.
 * @throws Refusal `condition` when that could not be saved
 */
export async function untilNoted(core: ArriveHost, relay: Relay): Promise<void> {
  const poll = (): true | undefined => {
    if (relay.refusal)
      throw new Refusal('duty.unsaved', relay.refusal, { channel: relay.name, on: false });
    const over = !relay.on || relay.closed || core.body.find(relay.name) !== relay;
    return over || relay.noted === 'yes' ? true : undefined;
  };
  core.state.noteClosures();
  if (!poll()) await core.waits.until(poll);
}
