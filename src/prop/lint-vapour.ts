import { tidy } from '../shared/units.ts';
import { runTimeS, showTimeS, waterMl } from '../sums/vapour.ts';
import { cuePlan } from './cue-plan.ts';
import { relayOf } from './kinds/channel.ts';
import { contactMode } from './kinds/contact.ts';
import { longCue } from './long-cue.ts';
import type { Notes } from './notes.ts';
import type { Prop, RelayChannel } from './schema.ts';
import { childrenOf } from './steps.ts';

/** Checks that a vapour unit's tank lasts for every cue, and for one time on. */
export function lintVapour(notes: Notes): void {
  for (const [name, channel] of Object.entries(notes.prop.channels)) {
    const relay = relayOf(channel);
    if (!relay?.vapour) continue;
    const at = ['channels', name];
    if (['vapour', 'duty', 'pulseMs'].some((key) => notes.given.broken([...at, key]))) continue;
    const { vapour, duty } = relay;
    const lastsS = runTimeS(vapour);
    if (duty && duty.maxOnS > lastsS)
      notes.warning(
        [...at, 'duty', 'maxOnS'],
        `the tank is dry after ${tidy(lastsS, 0)} s, and a piezo unit that runs dry breaks (common practice)`,
        `set maxOnS below ${tidy(lastsS, 0)}, or give it a larger tank`,
      );
    const known = new Map<string, number>();
    for (const cue of Object.keys(notes.prop.cues)) {
      const onS = onTimeS(notes.prop, cue, name, relay, known);
      if (Number.isFinite(onS) ? onS <= lastsS : !(onS > 0)) continue;
      if (Number.isFinite(onS))
        notes.warning(
          ['cues', cue],
          `it takes ${tidy(waterMl(vapour, onS), 1)} ml of water from ${name}, and its tank holds ${vapour.tankMl} ml`,
          'switch it on for a shorter time, or give it a larger tank',
        );
      else
        notes.note(
          ['cues', cue],
          `it goes on until it is stopped, and the tank of ${name} lasts ${minutes(duty ? showTimeS(vapour, duty) : lastsS)} at most`,
          'make sure that it is filled in time',
        );
    }
  }
}

const minutes = (s: number) => `${tidy(s / 60, s < 600 ? 1 : 0)} min`;

/**
 * Planned time for which a cue has a relay closed (s): each closure ends by itself, by the next step of
 * the cue that switches the relay, or with the cue. Infinite for a cue that goes on until it is stopped.
 */
function onTimeS(
  prop: Prop,
  cue: string,
  relay: string,
  spec: RelayChannel,
  known: Map<string, number>,
): number {
  const before = known.get(cue);
  if (before !== undefined) return before;
  known.set(cue, 0);
  const { steps: planned, durationS } = cuePlan(prop, cue);
  const { steps } = longCue(prop.cues[cue]!);
  const starts = new Map(planned.map(({ index, startS }) => [index, startS]));
  const switches = steps
    .map((step, i) => ({ step, startS: starts.get(i) ?? 0, to: step.switch?.[relay] }))
    .filter(({ to }) => to !== undefined)
    .sort((a, b) => a.startS - b.startS);
  const limitS = Math.min(
    spec.duty?.maxOnS ?? Number.POSITIVE_INFINITY,
    contactMode(spec) === 'momentary' ? (spec.pulseMs ?? 0) / 1000 : Number.POSITIVE_INFINITY,
  );
  let onS = 0;
  for (const [i, { step, startS, to }] of switches.entries()) {
    if (to !== 'on') continue;
    const endS = switches[i + 1]?.startS ?? Math.max(durationS ?? startS, startS);
    onS += Math.min(step.forS ?? endS - startS, limitS);
  }
  for (const step of steps) {
    const { times = 1 } = step;
    const each = childrenOf(step)
      .filter(({ cue: one }) => Object.hasOwn(prop.cues, one))
      .map(({ cue: one }) => onTimeS(prop, one, relay, spec, known));
    const most = Math.max(0, ...each);
    if (most > 0) onS += most * (times === 'until stopped' ? Number.POSITIVE_INFINITY : times);
  }
  known.set(cue, onS);
  return onS;
}
