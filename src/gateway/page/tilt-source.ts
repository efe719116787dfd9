import { signal } from '@preact/signals';
import { type HingeAlong, LEAST_LEVER, meanDeg, tiltOf, turnDeg, upOf } from '../../sums/tilt.ts';

/** The tilt of this phone, where its browser gives it. */

/** Readings of this long are averaged (ms); they must not differ by more than this (deg). */
const STEADY_MS = 600;
const STEADY_DEG = 0.6;
/** A device without sensors reports once, without numbers, or never (ms). */
const SILENT_MS = 1500;

interface Sample {
  beta: number;
  gamma: number;
  atMs: number;
}

/** What the browser gives: nothing was asked for, it comes, or why it does not. */
type TiltState = 'off' | 'waiting' | 'on' | { problem: string };

const TYPE_INSTEAD = 'Read the angle from the protractor, or from a level app, and type it.';

/** Why this page gets no tilt at all; undefined where it may be asked for. */
export function tiltMissing(here: {
  isSecureContext: boolean;
  DeviceOrientationEvent?: unknown;
}): string | undefined {
  if (!here.isSecureContext)
    return `Browsers give the tilt only to pages that came over https, or from this computer itself; this page came over plain http. ${TYPE_INSTEAD}`;
  if (here.DeviceOrientationEvent === undefined)
    return `This browser does not give the tilt. ${TYPE_INSTEAD}`;
  return undefined;
}

export const tilt = {
  state: signal<TiltState>('off'),
  /** The latest readings, the newest last. */
  samples: signal<readonly Sample[]>([]),
};

let stop: (() => void) | undefined;

/** To be called by a press: some browsers ask the person then, and only then. */
export async function startTilt(): Promise<void> {
  stopTilt();
  const missing = tiltMissing(window);
  if (missing) {
    tilt.state.value = { problem: missing };
    return;
  }
  tilt.state.value = 'waiting';
  const { requestPermission } = DeviceOrientationEvent as unknown as {
    requestPermission?: () => Promise<string>;
  };
  try {
    if (requestPermission && (await requestPermission()) !== 'granted') {
      tilt.state.value = {
        problem: `The browser was told not to give the tilt. Load the page again to be asked again. ${TYPE_INSTEAD}`,
      };
      return;
    }
  } catch {
    tilt.state.value = { problem: `The browser does not give the tilt. ${TYPE_INSTEAD}` };
    return;
  }
  const silent = setTimeout(() => {
    stopTilt();
    tilt.state.value = { problem: `This device reports no tilt. ${TYPE_INSTEAD}` };
  }, SILENT_MS);
  const onTilt = ({ beta, gamma }: DeviceOrientationEvent) => {
    if (beta === null || gamma === null) return;
    clearTimeout(silent);
    const atMs = performance.now();
    tilt.samples.value = [
      ...tilt.samples.peek().filter((one) => atMs - one.atMs <= STEADY_MS),
      { beta, gamma, atMs },
    ];
    if (tilt.state.peek() !== 'on') tilt.state.value = 'on';
  };
  addEventListener('deviceorientation', onTilt);
  stop = () => {
    clearTimeout(silent);
    removeEventListener('deviceorientation', onTilt);
  };
}

/** Asks the phone for nothing more. */
export function stopTilt(): void {
  stop?.();
  stop = undefined;
  tilt.samples.value = [];
  tilt.state.value = 'off';
}

/** The phone's angle about the hinge (deg), or why it cannot be used now. */
type PhoneAngle = { deg: number; problem?: string } | { deg?: undefined; problem: string };

/** @param zeroDeg the phone's own angle that counts as 0 @param turned the other way counts as rising */
export function phoneAngle(
  samples: readonly Sample[],
  { along, zeroDeg, turned }: { along: HingeAlong; zeroDeg: number; turned: boolean },
): PhoneAngle {
  if (samples.length === 0) return { problem: 'no reading yet' };
  const tilts = tiltsOf(samples, along);
  const mean = meanDeg(tilts.map(({ deg }) => deg));
  const deg = turnDeg(zeroDeg, mean) * (turned ? -1 : 1);
  if (Math.min(...tilts.map(({ lever }) => lever)) < LEAST_LEVER)
    return { problem: 'the hinge is too steep for gravity to tell its angle; use the protractor' };
  const spread = Math.max(...tilts.map((one) => Math.abs(turnDeg(mean, one.deg))));
  if (spread > STEADY_DEG) return { deg, problem: 'it is not still yet' };
  return { deg };
}

/** The phone's own angle about the hinge (deg), to be set as 0. */
export function rawAngle(samples: readonly Sample[], along: HingeAlong): number {
  return meanDeg(tiltsOf(samples, along).map(({ deg }) => deg));
}

function tiltsOf(samples: readonly Sample[], along: HingeAlong) {
  return samples.map(({ beta, gamma }) => tiltOf(upOf({ alpha: 0, beta, gamma }), along));
}
