import { tidy } from '../shared/units.ts';
import { stepPath } from './cue-plan.ts';
import { listed, type Path } from './finding.ts';
import { longCue } from './long-cue.ts';
import { softLimits } from './mechanics.ts';
import type { Notes } from './notes.ts';
import { type Rails, railsOf } from './planned-loads.ts';
import type { CueStep } from './schema.ts';
import { takeOf } from './steps.ts';
import { curveOf, deviationIn, playedTake, rateWithin, servosIn } from './take/played.ts';
import type { Take } from './take/take-text.ts';

/** All takes of a prop together, as its cues play them (s, each servo counted by itself). */
const MAX_PLAYED_S = 3600;
/** A servo that is further than this from a take is reported (deg). */
const FAR_DEG = 0.5;
/** Rounding of sums of currents (A). */
const SLACK_A = 1e-9;
/** What is not later, or earlier, than this is not said of it (s). */
const TICK_S = 0.005;

/** Checks takes: their files, the servos in them, and whether the servos can follow them. */
export function lintTakes(notes: Notes): void {
  const { prop } = notes;
  for (const [name, file] of Object.entries(prop.performed ?? {})) {
    const path = ['takes', name];
    if ('wrong' in file)
      notes.warning(path, `take ${name} cannot be played: ${file.wrong}`, file.right);
    else lintServos(notes, name, file.take);
  }
  lintSteps(notes);
}

function lintServos(notes: Notes, name: string, take: Take): void {
  const { channels } = notes.prop;
  const there = new Set(servosIn(notes.prop, take).map(({ servo }) => servo.name));
  const missing = take.servos
    .map((servo) => servo.name)
    .filter((one) => !there.has(one) && !notes.given.broken(['channels', one]));
  if (missing.length === 0) return;
  const none = there.size === 0;
  const named = listed(missing);
  notes.warning(
    ['takes', name],
    `take ${name} moves ${named}, ${missing.length > 1 ? 'which are no servos' : 'which is no servo'} of this prop: ${none ? 'it cannot be played' : 'without that it plays the others'}`,
    `write the names of servos into ${notes.prop.takes[name]}, or remove them there${Object.keys(channels).length > 0 ? '' : ', and add channels'}`,
  );
}

function lintSteps(notes: Notes): void {
  const { prop, given } = notes;
  // Limits that were cut out of a broken file would get their defaults.
  if (!prop.performed || given.broken(['channels'])) return;
  let playedS = 0;
  const rails = railsOf(prop);
  const counted = new Set<string>();
  for (const [cue, written] of Object.entries(prop.cues))
    for (const [i, step] of longCue(written).steps.entries()) {
      const take = takeOf(prop, step);
      if (!take) continue;
      const at = stepPath(prop, cue, i);
      const key = `${step.take} ${step.rate ?? 1}`;
      if (!counted.has(key)) {
        counted.add(key);
        for (const { servo } of servosIn(prop, take))
          playedS += curveOf(servo).durationS / (step.rate ?? 1);
      }
      if (playedS > MAX_PLAYED_S) {
        notes.error(
          [...at, 'take'],
          `the takes of all cues together last longer than ${MAX_PLAYED_S} s, each servo counted by itself`,
          'shorten takes, or play them at fewer rates',
        );
        return;
      }
      lintStep(notes, step, take, [...at, 'take']);
      lintRails(notes, step, rails, [...at, 'take']);
    }
}

/** Motors that start and turn at the same time may draw more than a rail can give. */
function lintRails(notes: Notes, step: CueStep, rails: Rails, path: Path): void {
  const take = playedTake(notes.prop, step);
  for (const [name, peakA] of Object.entries(take?.peaksA ?? {})) {
    const rail = rails.get(name);
    if (!rail || rail.idleA + peakA <= rail.limitA + SLACK_A) continue;
    notes.warning(
      path,
      `where motors start and turn together, take ${step.take} brings rail ${name} to ${tidy(rail.idleA + peakA, 2)} A for a moment; its limit is ${rail.limitA} A`,
      'let fewer servos turn at once, play it more slowly, or use a stronger supply or a second rail',
    );
  }
}

function lintStep(notes: Notes, step: CueStep, take: Take, path: Path): void {
  const { prop } = notes;
  const { rate = 1 } = step;
  const name = step.take!;
  for (const { servo, spec } of servosIn(prop, take)) {
    const [low, high] = curveOf(servo).rangeDeg;
    const [softLow, softHigh] = softLimits(spec);
    if (low < softLow - 1e-9 || high > softHigh + 1e-9) {
      const out = low < softLow - 1e-9 ? low : high;
      notes.error(
        path,
        `take ${name} brings ${servo.name} to ${tidy(out)} deg, past its soft limits, ${softLow} to ${softHigh} deg`,
        'scale or shift the take, or widen limitsDeg',
      );
      continue;
    }
    const away = deviationIn(servo, rate, spec);
    if (!away)
      notes.error(
        path,
        `take ${name} would last longer than 10 minutes at this rate, within the limits of ${servo.name}`,
        'play it faster, or shorten it',
      );
    else if (away.deg > FAR_DEG) {
      const late =
        away.lateS === undefined
          ? 'and never gets there'
          : Math.abs(away.lateS) <= TICK_S
            ? ''
            : `and is there ${tidy(Math.abs(away.lateS), 2)} s ${away.lateS > 0 ? 'later' : 'earlier'}`;
      const slower = rateWithin(prop, step, FAR_DEG);
      notes.warning(
        path,
        `${servo.name} cannot follow take ${name} within its limits: at ${tidy(away.atS, 2)} s of it, it is ${tidy(away.deg, 1)} deg away${late ? `, ${late}` : ''}`,
        `${slower === undefined ? '' : `play it at rate ${slower}, `}smooth the take, or raise the limits of ${servo.name}`,
      );
    }
  }
}
