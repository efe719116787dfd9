import { briefly } from '../drawings/track.ts';
import { stepPath } from '../prop/cue-plan.ts';
import type { Finding } from '../prop/finding.ts';
import type { Loaded } from '../prop/load.ts';
import { longCue, type Prop } from '../prop/schema.ts';
import { touchesOf } from '../prop/steps.ts';
import { readText } from '../prop/text.ts';
import type { Event, Rehearsal } from '../rehearsal/rehearse.ts';
import type { What } from '../shared/journal.ts';
import { tidy } from '../shared/units.ts';

/** What may be done about it, and how bad it is. */
const REMEDIES: Partial<Record<What, Pick<Finding, 'severity' | 'right'>>> = {
  refused: { severity: 'error', right: 'let it come when it may, or change what it asks for' },
  delayed: { severity: 'warning', right: 'let it come later, or move less at once' },
  slower: { severity: 'warning', right: 'give overS more time, or move less far' },
  interlock: { severity: 'error', right: 'keep what it requires until it has ended' },
  duty: { severity: 'warning', right: 'switch it off sooner, e.g. with forS' },
  flash: {
    severity: 'warning',
    right: 'let lights change less often, at the same time, or by less (fadeS helps)',
  },
  park: { severity: 'error', right: 'give until more time (withinS), or write otherwise: go on' },
};
const OTHERS: Pick<Finding, 'severity' | 'right'> = {
  severity: 'error',
  right: 'change the cue so that it does not come to this',
};

/** What was told on the way, each once for a place of the file, in the order of the file. */
export function findingsOf(done: Rehearsal, { text, prop }: Loaded): Finding[] {
  const { events } = done;
  if (events.length === 0) return [];
  const { place } = readText(text);
  const alike = new Map<string, Event[]>();
  for (const event of events) {
    const key = JSON.stringify([event.what, event.channel, event.cue, event.step]);
    alike.set(key, [...(alike.get(key) ?? []), event]);
  }
  const findings = [...alike.values()].map((group) => {
    const first = group[0]!;
    const step = first.step ?? lastStepWith(first, done, prop!);
    const of = first.cue ?? done.cue;
    const path = step === undefined ? ['cues', of] : stepPath(prop!, of, step);
    const more = group.length > 1 ? `, and ${group.length - 1} times more` : '';
    const { severity, right } = REMEDIES[first.what] ?? OTHERS;
    return place({
      severity,
      path,
      wrong: `${briefly(first)} (at ${tidy(first.tS)} s${more})`,
      right,
    });
  });
  return findings.sort((a, b) => a.line - b.line || a.column - b.column);
}

/** The step of the cue itself that was the last, before an event, to ask the channel for something. */
function lastStepWith(event: Event, { cue, steps }: Rehearsal, prop: Prop): number | undefined {
  if (event.channel === undefined) return undefined;
  const begun = longCue(prop.cues[cue]!).steps.map((spec, i) => ({
    i,
    startS: steps[i]?.startS ?? Number.POSITIVE_INFINITY,
    asks: [...touchesOf(prop, spec)].some(({ channels }) => channels.includes(event.channel!)),
  }));
  return begun
    .filter(({ startS, asks }) => asks && startS <= event.tS)
    .sort((a, b) => b.startS - a.startS)[0]?.i;
}
