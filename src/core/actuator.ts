import type { ValueType } from '../prop/kinds/kind.ts';
import type { Channel, Requirement } from '../prop/schema.ts';
import type { Telemetry } from '../shared/telemetry.ts';
import type { Board } from './boards.ts';
import type { Session } from './lease.ts';

/**
 * Where a channel is or goes: deg of what moves, on or off of a contact; for a light, whether that is
 * what it shows when parked.
 */
export type Standing = number | boolean;

/** The time of the last tick, and the time since the one before (s): read here, as `Body` says. */
export interface Time {
  readonly nowS: number;
  readonly dtS: number;
}

/** Which physical pin an output is, in one version of the prop. */
export type PlaceOf = (output: { board: string; pin: number }) => string;

/**
 * What every actuator answers, so that no caller needs to know its kind. Where a parameter is `never`,
 * each kind declares what it needs; a caller with an `Actuator` passes what all kinds need.
 */
export interface ActuatorContract {
  readonly name: string;
  /** Its place among the channels of the body. */
  readonly index: number;
  readonly spec: Channel;
  readonly board: Board;
  readonly rail: number;
  /** What its value is, as it is recorded. */
  readonly valueType: ValueType;
  /** It takes time to go from angle to angle; all other kinds change in place. */
  readonly moves: boolean;
  /** It goes home before the stages of parking, unless one of them names it. */
  readonly parksEarly: boolean;
  /** An interlock ended or held what it did. */
  interlocked: boolean;

  // --- where it is

  /** It is where parking would bring it, and nothing is about to change that. */
  readonly rests: boolean;
  /** Its position, or whether it is on, is unknown. */
  readonly isUnknown: boolean;
  /** It has no power, and stays as it is unless somebody asks for more. */
  readonly isLimp: boolean;
  /** It is on its way somewhere, or will change by itself. */
  readonly isBusy: boolean;
  /** Part of what was asked for is still to come: a rehearsal waits for it. */
  readonly isUnsettled: boolean;
  /** Deg, or on; null for a light, whose value is not a single number. */
  readonly now: Standing | null;
  /** Where it is on its way to (deg), if it is something that moves. */
  readonly moveTargetDeg: number | undefined;
  /** Where parking brings it. */
  readonly home: Standing;
  /** The number that is recorded of it: deg, 1 or 0, lightness, or a packed colour. */
  readonly recordedValue: number;
  /** Its named positions (deg), if it has any. */
  readonly marks?: ReadonlyMap<string, number>;

  // --- interlocks

  /** Whether what another one requires of it holds now. */
  meets(requirement: Requirement): boolean;
  /** Whether that would hold with it at `to`. */
  meetsAt(requirement: Requirement, standing: Standing): boolean;
  /** Whether what it requires binds others now; `moving` counts its moves alone. */
  isInUse(moving: boolean): boolean;
  /** Whether at its park position it would still need what it requires. */
  readonly needsAtHome: boolean;
  /** It is about to close, and that must be saved first. */
  readonly awaitsNote: boolean;

  // --- what it does

  /** Notes what a pose or step asks of it. @throws Refusal for a value that it cannot take */
  collectTarget(target: number | string, into: never): void;
  /** On its way home already. @param sent parking has sent it there */
  isHoming(sent: boolean): boolean;
  /** Goes home. @throws Refusal while it may not */
  goHome(gate: never, nowS: number): void;
  /** Shows a person which one it is; returns how long that takes (s). */
  identify(by: never, session: Session): number;
  /** Takes over what may change while the prop runs. */
  follow(spec: Channel): void;
  /**
   * Continues where it stood in the version before, maybe under another name.
   * @param pulsesGoOn its board is not opened again
   * @param nowS time of the last tick (s)
   */
  continueFrom(
    was: ActuatorContract | undefined,
    pulsesGoOn: boolean,
    places: { was: PlaceOf; is: PlaceOf },
    nowS: number,
  ): void;
  /** Gives its board the output of this tick. */
  put(): void;

  // --- what is reported of it

  /** The FLAG bits. */
  flags(): number;
  /** Writes its state into the telemetry. @param senses boards tell what they measure */
  publish(telemetry: Telemetry, senses: boolean): void;
  /** Writes its estimated draw now (A); returned, a fraction may be allocated. */
  writeAmps(into: Float64Array, at: number): void;
  /** Its draw once the prop is awake (A), and what waking it adds for a moment. */
  readonly awakeA: number;
  readonly startA: number;
  /** Why it does not rest: `lid is at 5 deg`. */
  awayText(): string;
  /** Why it binds others: `is on`. */
  useText(): string;
  /** What to do so that it binds nobody: `switch mist off`. */
  remedy(): string;
  /** Where `to` leads: `to 5 deg`, `off`. */
  targetText(standing: Standing): string;
}
