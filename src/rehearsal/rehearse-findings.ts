import { stepPath } from '../prop/cue-plan.ts';
import { type Finding, inOrder, listed, type Path, pathText } from '../prop/finding.ts';
import type { Loaded } from '../prop/load.ts';
import { longCue } from '../prop/long-cue.ts';
import type { Prop } from '../prop/schema.ts';
import { childrenOf, touchesOf } from '../prop/steps.ts';
import { readText } from '../prop/text.ts';
import { briefly, type What } from '../shared/journal.ts';
import { tidy } from '../shared/units.ts';
import type { Event, Rehearsal } from './rehearse.ts';
import type { Part, WholeRehearsal } from './rehearse-all.ts';

/** What can be done about it, and how serious it is. */
const REMEDIES: Partial<Record<What, Pick<Finding, 'severity' | 'right'>>> = {
  refused: { severity: 'error', right: 'start it when it is allowed, or change what it asks for' },
  delayed: { severity: 'warning', right: 'start it later, or move less at once' },
  staggered: {
    severity: 'note',
    right: 'nothing needs to be done; a stronger supply lets everything start at once',
  },
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
  right: 'change the cue so that this does not happen',
};

/** What was reported on the way, each once for a place of the file, in the order of the file. */
export function findingsOf({ cue, events, steps }: Rehearsal, { text, prop }: Loaded): Finding[] {
  if (events.length === 0) return [];
  const { place } = readText(text);
  const stepsStartS = steps.map(({ startS }) => startS);
  const findings = alike({ of: 'cue', name: cue, events, stepsStartS }, prop!).map(
    ({ path, first, count }) => {
      const more = count > 1 ? `, and ${count - 1} times more` : '';
      const { severity, right } = REMEDIES[first.what] ?? OTHERS;
      const wrong = `${briefly(first)} (at ${tidy(first.tS)} s${more})`;
      return place({ severity, path, wrong, right });
    },
  );
  return inOrder(findings);
}

/** What was reported on the way, each once for a place of the file, in the order of time. */
export function reportsOf({ cue, events, steps }: Rehearsal, prop: Prop): Report[] {
  const stepsStartS = steps.map(({ startS }) => startS);
  return alike({ of: 'cue', name: cue, events, stepsStartS }, prop).map((one) => ({
    ...one,
    ...(REMEDIES[one.first.what] ?? OTHERS),
  }));
}

/** Events of the same place and kind, with the first of them and a remedy. */
export interface Report extends Pick<Finding, 'severity' | 'right'> {
  path: Path;
  first: Event;
  count: number;
}

/**
 * What the rehearsal of a whole prop has to say that the check of its file has not said of the same step
 * already. The daemon accepts the file anyway, so nothing here is an error.
 */
export function wholeFindings(
  { parts, skipped }: WholeRehearsal,
  { findings: known, prop, source }: Loaded,
): Finding[] {
  const { place } = source!;
  const reported = known.filter(({ severity }) => severity !== 'note').map(({ path }) => path);
  const isReported = (path: Path) => {
    const text = pathText(path);
    return reported.some((one) => one === text || one.startsWith(`${text}.`));
  };
  const found = new Map<string, { finding: Finding; own: boolean }>();
  for (const part of parts)
    for (const { path, first, count } of alike(part, prop!)) {
      // A start that comes a moment later, for its rail, is normal.
      if (first.what === 'staggered' || isReported(path)) continue;
      const key = JSON.stringify([pathText(path), first.what, first.channel]);
      // A step is reported in the rehearsal of its own cue, where it shows there.
      const own = part.of === 'cue' && part.name === first.cue;
      const before = found.get(key);
      if (before && (before.own || !own)) continue;
      const more = count > 1 ? `, and ${count - 1} times more` : '';
      const wrong = `${briefly(first)} (${partText(part)}, at ${tidy(first.tS)} s${more})`;
      const late = first.what === 'stop' || first.what === 'fault';
      const right = late ? LATE : (REMEDIES[first.what] ?? OTHERS).right;
      // Alone, a cue waits for what another one does.
      const waits = first.what === 'park' && part.of !== 'park';
      const severity = waits ? 'note' : 'warning';
      found.set(key, { finding: place({ severity, path, wrong, right }), own });
    }
  const findings = inOrder([...found.values()].map(({ finding }) => finding));
  if (skipped.length === 0) return findings;
  const shown = listed(skipped);
  const wrong = `the time was too short to rehearse ${shown}`;
  const right = 'shorten them, or rehearse each with sinew rehearse';
  return [place({ severity: 'warning', path: [], wrong, right }), ...findings];
}

const LATE = 'give park.deadlineS more time, or let more channels park together';

/** What was rehearsed, in words. */
function partText({ of, name }: Part): string {
  if (of === 'wake') return 'rehearsed: waking';
  return of === 'park' ? `rehearsed: parking with ${name}` : `rehearsed: ${of} ${name}`;
}

/** Events of the same place and kind, with the first of them. */
function alike(part: Part, prop: Prop): { path: Path; first: Event; count: number }[] {
  const groups = new Map<string, { path: Path; first: Event; count: number }>();
  for (const event of part.events) {
    const key = JSON.stringify([event.what, event.channel, event.cue, event.step]);
    const group = groups.get(key);
    if (group) group.count++;
    else groups.set(key, { path: placeOf(part, event, prop), first: event, count: 1 });
  }
  return [...groups.values()];
}

/** The place of the file that an event is about: a step of a cue where there is one. */
function placeOf(part: Part, event: Event, prop: Prop): Path {
  const { of, name } = part;
  const { channel, step } = event;
  if (event.cue !== undefined && Object.hasOwn(prop.cues, event.cue))
    return step === undefined ? ['cues', event.cue] : stepPath(prop, event.cue, step);
  if (of === 'cue') {
    const own = lastStepWith(event, part, prop);
    if (own !== undefined) return stepPath(prop, name, own);
  }
  const within = channel === undefined ? undefined : stepAsking(prop, cuesOf(part, prop), channel);
  if (within) return within;
  if (of === 'cue') return ['cues', name];
  if (of === 'idle') return ['idle', name];
  if (of === 'trigger') return ['triggers', name];
  if (of === 'park' && channel === undefined) return ['park', 'deadlineS'];
  return channel === undefined ? ['channels'] : ['channels', channel, 'park'];
}

/** The cues that a part of the rehearsal ran. */
function cuesOf({ of, name }: Part, prop: Prop): string[] {
  if (of === 'cue') return [name];
  if (of === 'trigger') return [prop.triggers[name]!.cue];
  return of === 'idle' ? prop.idle[name]!.plays.map(({ cue }) => cue) : [];
}

/** The first step that asks a channel for something, in these cues or those within them. */
function stepAsking(prop: Prop, cues: readonly string[], channel: string): Path | undefined {
  const seen = new Set(cues);
  for (const cue of seen)
    for (const [i, step] of longCue(prop.cues[cue]!).steps.entries()) {
      if ([...touchesOf(prop, step)].some(({ channels }) => channels.includes(channel)))
        return stepPath(prop, cue, i);
      for (const inner of childrenOf(step)) seen.add(inner.cue);
    }
  return undefined;
}

/** The step of the cue itself that was the last, before an event, to ask the channel for something. */
function lastStepWith(event: Event, { name, stepsStartS }: Part, prop: Prop): number | undefined {
  if (event.channel === undefined) return undefined;
  const begun = longCue(prop.cues[name]!).steps.map((spec, i) => ({
    i,
    startS: stepsStartS[i] ?? Number.POSITIVE_INFINITY,
    asks: [...touchesOf(prop, spec)].some(({ channels }) => channels.includes(event.channel!)),
  }));
  return begun
    .filter(({ startS, asks }) => asks && startS <= event.tS)
    .sort((a, b) => b.startS - a.startS)[0]?.i;
}
