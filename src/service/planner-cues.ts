import type { Result } from '../api/methods.ts';
import type { CuePassage } from '../core/cue-passage.ts';
import { stepsOf, wholeSteps } from '../editing/cue-steps.ts';
import { didYouMean, type Path, pathText } from '../prop/finding.ts';
import { codeOf } from '../prop/finding-info.ts';
import { type Loaded, tryCue } from '../prop/load.ts';
import { longCue } from '../prop/long-cue.ts';
import { freeName } from '../prop/name.ts';
import type { Prop } from '../prop/schema.ts';
import { childrenOf } from '../prop/steps.ts';
import { channelCurves, closuresOf, railCurves } from '../rehearsal/cue-curves.ts';
import { passageOf } from '../rehearsal/cue-passage.ts';
import { type Rehearsal, rehearse } from '../rehearsal/rehearse.ts';
import { reportsOf } from '../rehearsal/rehearse-findings.ts';
import { Refusal } from '../shared/errors.ts';
import { briefly } from '../shared/journal.ts';
import { refuseFaulty } from './faulty.ts';
import type { Asked, PropSource } from './planner-question.ts';

type Rehearsed = Result<'cue.rehearse'>;
type CueFinding = Rehearsed['findings'][number];

/** How long one cue is rehearsed (ms): others wait for the planner meanwhile. */
const REHEARSAL_MS = 5000;
/** More than anybody reads (findings). */
const MAX_FINDINGS = 100;
/** What steps are called that belong to no cue yet. */
const UNNAMED = 'new_cue';

/** What a cue will do, with steps as if they were saved. @throws Refusal */
export async function cueAnswer(
  question: Asked<'cue-rehearsal'>,
  read: (source: PropSource) => Loaded,
): Promise<Rehearsed> {
  const { version, steps, from, count, longestS } = question;
  const loaded = read(question);
  if (!loaded.prop) return refuseFaulty(loaded);
  const own = question.cue ?? freeName(UNNAMED, new Set(Object.keys(loaded.prop.cues)));
  if (steps === undefined) mustHaveCue(loaded.prop, own);
  const entry =
    steps === undefined
      ? (loaded.raw as { cues: Record<string, unknown> }).cues[own]
      : written(loaded.raw, own, wholeSteps(loaded.raw, { cue: own, steps, from, count }));
  const { prop, remarks } = tryCue(loaded, own, entry);
  const about = prop ? cuesWithin(prop, own) : new Set([own]);
  const checked = remarks
    .filter(({ severity, path }) => severity === 'error' || isAbout(about, path))
    .map(({ severity, code, path, wrong, right }): CueFinding => {
      const text = pathText(path);
      const named = code === undefined ? { path: text } : { code, path: text };
      const place = placeIn(path, own);
      return {
        code: codeOf(named),
        level: severity,
        ...place,
        atS: null,
        what: 'check',
        wrong,
        right,
      };
    });
  const refused = checked.some(({ level }) => level === 'error');
  if (!prop || refused) return { version, ...nothingOf(own), ...sorted(checked) };
  const endMs = performance.now() + REHEARSAL_MS;
  let done: Rehearsal;
  try {
    done = await rehearse(prop, own, longestS, () => performance.now() < endMs);
  } catch (error) {
    if (!(error instanceof Refusal)) throw error;
    const why: CueFinding = {
      level: 'error',
      ...placeIn(['cues', own], own),
      atS: 0,
      what: 'refused',
      wrong: error.message,
      right: 'change what it asks for, or the prop',
    };
    return { version, ...nothingOf(own), ...sorted([...checked, why]) };
  }
  const { durationS, cutShort, steps: times, light, tracks } = done;
  const findings = together(checked, reported(done, prop, own));
  const lit = tracks.filter(({ flashes }) => flashes !== undefined);
  return {
    version,
    cue: own,
    ran: true,
    durationS,
    cutShort,
    steps: times,
    channels: channelCurves(done, prop),
    rails: railCurves(done),
    ...closuresOf(done, prop),
    flashes: {
      planned: light.plannedFlashes,
      plannedColour: light.plannedColourFlashes,
      shown: light.flashes,
      shownColour: light.colourFlashes,
      channels: Object.fromEntries(
        lit.map(({ name, flashes = 0, redFlashes = 0 }) => [name, { flashes, red: redFlashes }]),
      ),
    },
    ...sorted(findings),
  };
}

/** A passage of a cue, worked out for the core to run. @throws Refusal */
export async function passageAnswer(
  { version, cue, fromS, rate, ...source }: Asked<'passage'>,
  read: (source: PropSource) => Loaded,
): Promise<CuePassage> {
  const loaded = read(source);
  if (!loaded.prop) return refuseFaulty(loaded);
  mustHaveCue(loaded.prop, cue);
  const endMs = performance.now() + REHEARSAL_MS;
  const hasTime = () => performance.now() < endMs;
  return { version, ...(await passageOf(loaded.prop, { cue, fromS, rate }, hasTime)) };
}

function mustHaveCue({ cues }: Prop, cue: string): void {
  if (Object.hasOwn(cues, cue)) return;
  const reason = `there is no cue ${cue}; ${didYouMean(cue, Object.keys(cues))}`;
  throw new Refusal('cue.unknown', reason, { cue });
}

/** The entry of a cue with other steps, in the form that it has. */
function written(raw: unknown, cue: string, steps: unknown[]): unknown {
  const own = stepsOf(raw, cue);
  if (own?.path.length !== 3) return steps;
  const { cues } = raw as { cues: Record<string, object> };
  return { ...cues[cue], steps };
}

/** A cue and those within it. */
function cuesWithin(prop: Prop, cue: string): Set<string> {
  const found = new Set([cue]);
  for (const one of found)
    if (Object.hasOwn(prop.cues, one))
      for (const step of longCue(prop.cues[one]!).steps)
        for (const inner of childrenOf(step)) found.add(inner.cue);
  return found;
}

function isAbout(cues: ReadonlySet<string>, [section, cue]: Path): boolean {
  return section === 'cues' && cues.has(String(cue));
}

/** The cue, the step and the rest of a place in the file. */
function placeIn(path: Path, own: string): Pick<CueFinding, 'cue' | 'step' | 'path'> {
  const [section, cue, ...rest] = path;
  if (section !== 'cues' || cue === undefined)
    return { cue: own, step: null, path: path.length > 0 ? pathText(path) : '' };
  const within = rest[0] === 'steps' ? rest.slice(1) : rest;
  const [step, ...left] = within;
  if (typeof step !== 'number')
    return { cue: String(cue), step: null, path: rest.length > 0 ? pathText(rest) : '' };
  return { cue: String(cue), step, path: left.length > 0 ? pathText(left) : '' };
}

function reported(done: Rehearsal, prop: Prop, own: string): CueFinding[] {
  return reportsOf(done, prop).map(({ path, first, count, severity, right }) => ({
    level: severity,
    ...placeIn(path, own),
    ...(first.channel !== undefined && { channel: first.channel }),
    atS: first.tS,
    what: first.what,
    ...(count > 1 && { times: count }),
    wrong: briefly(first),
    right,
  }));
}

/** What the check says of a step already is not said again: it gets the time. */
function together(checked: readonly CueFinding[], reports: readonly CueFinding[]): CueFinding[] {
  const all = checked.map((one) => ({ ...one }));
  const left = reports.filter(({ cue, step, path, atS }) => {
    if (step === null) return true;
    const same = all.find(
      (one) =>
        one.level !== 'note' &&
        one.cue === cue &&
        one.step === step &&
        (path === '' || one.path === path || one.path.startsWith(`${path}.`)),
    );
    if (same) same.atS ??= atS;
    return !same;
  });
  return [...all, ...left];
}

const LEVELS = ['error', 'warning', 'note'] as const;

/** The most serious first, then by step. */
function sorted(findings: readonly CueFinding[]): Pick<Rehearsed, 'findings' | 'more'> {
  const all = [...findings].sort(
    (a, b) => LEVELS.indexOf(a.level) - LEVELS.indexOf(b.level) || (a.step ?? -1) - (b.step ?? -1),
  );
  return { findings: all.slice(0, MAX_FINDINGS), more: Math.max(0, all.length - MAX_FINDINGS) };
}

/** What is answered of a cue that cannot run. */
function nothingOf(cue: string): Omit<Rehearsed, 'version' | 'findings' | 'more'> {
  return {
    cue,
    ran: false,
    durationS: 0,
    cutShort: false,
    steps: [],
    channels: [],
    rails: [],
    closures: [],
    moreClosures: 0,
    flashes: { planned: 0, plannedColour: 0, shown: 0, shownColour: 0, channels: {} },
  };
}
