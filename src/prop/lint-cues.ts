import { tidy } from '../shared/units.ts';
import { isLinear, isSmooth, parseEase } from '../sums/ease.ts';
import { cuePlan, stepPath } from './cue-plan.ts';
import { didYouMean, type Path, show } from './finding.ts';
import { relayOf } from './kinds/channel.ts';
import { contactMode } from './kinds/contact.ts';
import { kindOf } from './kinds/registry.ts';
import { checkColour } from './kinds/rgb.ts';
import { NO_SOUND } from './kinds/sound-schema.ts';
import { wrongPart } from './kinds/wrong-part.ts';
import { lintRequirement } from './lint-interlocks.ts';
import { longCue, MAX_NESTED, MAX_STEPS } from './long-cue.ts';
import type { Limits, Notes } from './notes.ts';
import type { PlanProblem } from './plan-types.ts';
import { isWorse } from './plan-walk.ts';
import { ACTS, type CueStep, childrenOf, touchesOf } from './steps.ts';

/**
 * Checks cues: steps must name what exists, must be able to start, end and have an effect, and their plan
 * must keep to the limits of servos and rails.
 * @returns the cues that go on until they are stopped
 */
export function lintCues(notes: Notes, limits: Limits): Set<string> {
  const { cues } = notes.prop;
  for (const [name, cue] of Object.entries(cues))
    for (const [i, step] of longCue(cue).steps.entries())
      lintStep(notes, step, stepPath(notes.prop, name, i), limits);
  const { sound, endless } = lintNesting(notes);
  for (const name of Object.keys(cues)) lintOrder(notes, name, endless);
  lintPlans(notes, sound);
  return endless;
}

// --- one step -------------------------------------------------------------------------------------

function lintStep(notes: Notes, step: CueStep, at: Path, limits: Limits): void {
  const { move, pose, until, cue, choose } = step;
  if (pose !== undefined) notes.find('poses', pose, [...at, 'pose']);
  lintMoves(notes, move ?? {}, [...at, 'move'], limits);
  for (const part of ['colour', 'dim', 'switch', 'sound'] as const) {
    for (const [name, value] of Object.entries(step[part] ?? {})) {
      const path = [...at, part, name];
      const channel = notes.find('channels', name, path, true);
      if (!channel) continue;
      if (kindOf(channel).part !== part)
        notes.keyError(path, ...wrongPart(name, channel.kind, value));
      else if (part === 'colour') checkColour(notes, String(value), path);
      else if (part === 'sound' && value !== NO_SOUND) notes.find('sounds', String(value), path);
    }
  }
  if (until) lintUntil(notes, until, [...at, 'until'], limits);
  for (const child of childrenOf(step)) notes.find('cues', child.cue, [...at, ...child.at]);

  if (notes.given.broken(at)) return;
  if (ACTS.every((act) => step[act] === undefined))
    notes.error(
      at,
      'this step does nothing',
      `give it a ${ACTS.slice(0, -1).join(', ')} or ${ACTS.at(-1)}`,
    );
  if (cue !== undefined && choose !== undefined)
    notes.error([...at, 'choose'], 'cue and choose are both given', 'remove one of them');
  lintTake(notes, step, at);
  const touched = touchedBy(notes, step);
  lintEase(notes, step, touched, at);
  lintTimes(notes, step, touched, at);
}

/** Checks what plays a take, and what is repeated. */
function lintTake(notes: Notes, step: CueStep, at: Path): void {
  const { take, rate, times, move, pose } = step;
  const runs = childrenOf(step).length > 0;
  if (take !== undefined) notes.find('takes', take, [...at, 'take']);
  else if (rate !== undefined)
    notes.warning([...at, 'rate'], 'rate has no effect here', 'remove it, or add a take');
  if (take !== undefined && (move ?? pose) !== undefined)
    notes.error(
      [...at, 'take'],
      'a take and a move, or a pose, are both given',
      'give each of them its own step',
    );
  if (times === undefined) return;
  if (!runs && take === undefined)
    notes.error(
      [...at, 'times'],
      'only a cue or a take can be repeated',
      'make this step a cue of its own and run it here with cue',
    );
  if (runs && take !== undefined)
    notes.error(
      [...at, 'times'],
      'both a cue and a take would be repeated',
      'give each of them its own step',
    );
}

function lintMoves(
  notes: Notes,
  move: NonNullable<CueStep['move']>,
  at: Path,
  limits: Limits,
): void {
  const { groups, channels } = notes.prop;
  const moved = new Map<string, string>();
  for (const [name, to] of Object.entries(move)) {
    const path = [...at, name];
    const members = Object.hasOwn(groups, name) ? groups[name]! : [name];
    if (!Object.hasOwn(groups, name)) {
      if (notes.given.has(['groups', name])) continue;
      if (!Object.hasOwn(channels, name) && !notes.given.has(['channels', name])) {
        const known = [...Object.keys(channels), ...Object.keys(groups)];
        notes.keyError(path, `there is no channel or group ${name}`, didYouMean(name, known));
        continue;
      }
      const channel = channels[name];
      if (channel && kindOf(channel).part !== 'move') {
        notes.keyError(path, ...wrongPart(name, channel.kind, to));
        continue;
      }
    }
    for (const member of members) {
      for (const end of endsOf(to)) notes.checkPosition(member, end, path, limits);
      const other = moved.get(member);
      if (other !== undefined && other !== name)
        notes.keyError(path, `${member} is moved by ${other} in this step, too`, 'move it once');
      moved.set(member, name);
    }
  }
}

/** The positions between which a random target is chosen; rounded, as sums of decimals are not exact. */
function endsOf(to: NonNullable<CueStep['move']>[string]): (number | string)[] {
  if (typeof to !== 'object') return [to];
  const { around, spread } = to;
  return spread === 0 ? [around] : [tidy(around - spread, 9), tidy(around + spread, 9)];
}

function lintUntil(
  notes: Notes,
  { channel, above, below, is }: NonNullable<CueStep['until']>,
  path: Path,
  limits: Limits,
): void {
  if (notes.given.broken(path)) return;
  if (above !== undefined) lintRequirement(notes, { channel, above }, path, limits);
  else if (below !== undefined) lintRequirement(notes, { channel, below }, path, limits);
  else if (is !== undefined) lintRequirement(notes, { channel, is }, path, limits);
}

interface Touched {
  servos: boolean;
  lights: boolean;
  /** Names of relays that are switched; true for on. */
  relays: Map<string, boolean>;
  /** The channels of its pose are unknown. */
  unsure: boolean;
}

/** The kinds of channels that a step commands, including its pose. */
function touchedBy(notes: Notes, step: CueStep): Touched {
  const { poses, channels } = notes.prop;
  const { pose } = step;
  const touched: Touched = {
    servos: step.move !== undefined,
    lights: step.colour !== undefined || step.dim !== undefined,
    relays: new Map(),
    unsure:
      pose !== undefined && (!Object.hasOwn(poses, pose) || notes.given.broken(['poses', pose])),
  };
  for (const { channels: names, to, part } of touchesOf(notes.prop, step))
    for (const name of names) {
      const kind = Object.hasOwn(channels, name) ? kindOf(channels[name]!) : undefined;
      if (part === 'switch' || (part === 'pose' && kind?.switches))
        touched.relays.set(name, to === 'on');
      if (part !== 'pose') continue;
      touched.servos ||= kind?.moves === true;
      touched.lights ||= kind?.light !== undefined;
    }
  return touched;
}

function lintEase(notes: Notes, { ease }: CueStep, touched: Touched, at: Path): void {
  if (ease === undefined) return;
  const path = [...at, 'ease'];
  const curve = parseEase(ease);
  if (!curve)
    notes.error(
      path,
      `${show(ease)} is not an easing function`,
      'use linear, ease, ease-in, ease-out, ease-in-out, cubic-bezier(x1, y1, x2, y2) with x1 and x2 in 0 to 1, linear(0, ..., 1) with two stops or more, or, for lights, steps(n)',
    );
  else if (isLinear(ease) && (curve(0) !== 0 || curve(1) !== 1))
    notes.error(
      path,
      `${show(ease)} leads from ${tidy(curve(0))} to ${tidy(curve(1))} of the way, so that it begins or ends with a jump`,
      'let the first stop be 0 and the last one 1',
    );
  else if (touched.servos && !isSmooth(ease))
    notes.error(
      path,
      `a servo cannot follow ${show(ease)}`,
      'use a curve such as ease-in-out, and give lights that should jump their own step',
    );
}

/** Reports keys that have no effect in their step, and closures that end before their time. */
function lintTimes(notes: Notes, step: CueStep, touched: Touched, at: Path): void {
  const { overS, fadeS, forS, ease } = step;
  const { servos, lights, relays, unsure } = touched;
  const idle = (key: string, needs: string) => {
    if (!unsure)
      notes.warning([...at, key], `${key} has no effect here`, `remove it, or add ${needs}`);
  };
  if (overS !== undefined && !servos) idle('overS', 'a move');
  if (fadeS !== undefined && !lights && step.sound === undefined)
    idle('fadeS', 'a colour or a dim');
  if (forS !== undefined && relays.size === 0) idle('forS', 'a switch');
  if (step.volume !== undefined && step.sound === undefined) idle('volume', 'a sound');
  if (ease !== undefined && !servos && !lights) idle('ease', 'a move, a colour or a dim');
  if (forS === undefined) return;
  for (const [name, on] of relays) {
    const { channels } = notes.prop;
    const channel = relayOf(Object.hasOwn(channels, name) ? channels[name] : undefined);
    if (!channel || notes.given.broken(['channels', name])) continue;
    if (contactMode(channel) === 'momentary')
      notes.warning(
        [...at, 'forS'],
        `${name} is momentary: it opens by itself after its pulse`,
        'remove it, or give the relay contact: held',
      );
    else if (on && channel.duty && forS > channel.duty.maxOnS)
      notes.warning(
        [...at, 'forS'],
        `the duty guard of ${name} opens it after ${channel.duty.maxOnS} s, before these ${forS} s are over`,
        `give ${channel.duty.maxOnS} or less`,
      );
  }
}

// --- the order of steps ---------------------------------------------------------------------------

/** Checks the names of steps, and which step comes after which. */
function lintOrder(notes: Notes, cue: string, endless: ReadonlySet<string>): void {
  const { steps } = longCue(notes.prop.cues[cue]!);
  const at = (i: number) => stepPath(notes.prop, cue, i);
  // A stand-in for a broken step has lost its name.
  const complete = !steps.some((_, i) => notes.given.broken(at(i)));
  const named = new Map<string, number>();
  for (const [i, { name }] of steps.entries()) {
    if (name === undefined) continue;
    const other = named.get(name);
    if (other === undefined) named.set(name, i);
    else
      notes.error(
        [...at(i), 'name'],
        `step ${other + 1} is called ${name}, too`,
        'give each step its own name',
      );
  }
  for (const [i, { name, after }] of steps.entries()) {
    if (after === undefined) continue;
    const path = [...at(i), 'after'];
    const before = named.get(after);
    if (before === undefined) {
      if (complete)
        notes.error(path, `there is no step ${after} in this cue`, didYouMean(after, named.keys()));
    } else if (before === i)
      notes.error(path, `step ${name} comes after itself`, 'name another step, or give only at');
    else if (isEndless(steps[before]!, endless))
      notes.error(
        path,
        `step ${after} goes on until it is stopped, so this step never starts`,
        'give at instead, or a number of times there',
      );
  }
  lintWaitingCircles(notes, cue, named);
}

/** A step comes after at most one other, so every circle is found by walking back. */
function lintWaitingCircles(notes: Notes, cue: string, named: ReadonlyMap<string, number>): void {
  const { steps } = longCue(notes.prop.cues[cue]!);
  const walkedFrom = new Map<number, number>();
  for (let start = 0; start < steps.length; start++) {
    const trail: number[] = [];
    let here: number | undefined = start;
    while (here !== undefined && !walkedFrom.has(here)) {
      walkedFrom.set(here, start);
      trail.push(here);
      const after: string | undefined = steps[here]!.after;
      here = after === undefined ? undefined : named.get(after);
    }
    if (here === undefined || walkedFrom.get(here) !== start) continue;
    const circle = trail.slice(trail.indexOf(here));
    if (circle.length === 1) continue; // already reported
    const names = [...circle, here].map((i) => steps[i]!.name).join(' -> ');
    notes.error(
      [...stepPath(notes.prop, cue, circle.at(-1)!), 'after'],
      `the steps wait for each other: ${names}`,
      'let one of them start with only at',
    );
  }
}

// --- cues within cues -----------------------------------------------------------------------------

/** A cue within another one, and its path in the file. */
interface Inner {
  name: string;
  path: Path;
}

/**
 * Finds cues that contain themselves, by depth-first search (without recursion).
 * @returns `sound` cues can be planned: nothing in them is broken or circular; `endless` ones go on until
 * they are stopped.
 */
function lintNesting(notes: Notes): { sound: Set<string>; endless: Set<string> } {
  const { cues } = notes.prop;
  const sound = new Set<string>();
  const endless = new Set<string>();
  /** Depth of nesting of each cue; those on the trail are not in it yet. */
  const depths = new Map<string, number>();
  const sizes = new Map<string, number>();
  for (const start of Object.keys(cues)) {
    /** The path from `start` to here: each cue, the cues within it, and how many of them were followed. */
    const trail = new Map<string, { inner: Inner[]; next: number; circular: boolean }>();
    const enter = (name: string) =>
      trail.set(name, { inner: innerCues(notes, name), next: 0, circular: false });
    const way = [start];
    if (!depths.has(start)) enter(start);
    else way.pop();
    for (let name = way.at(-1); name !== undefined; name = way.at(-1)) {
      const here = trail.get(name)!;
      const next = here.inner[here.next++];
      if (next === undefined) {
        leave(notes, name, here, { depths, sizes, sound, endless });
        trail.delete(name);
        way.pop();
      } else if (trail.has(next.name)) {
        here.circular = true;
        const circle = [...way.slice(way.indexOf(next.name)), next.name].join(' -> ');
        const wrong = `cue ${next.name} contains itself: ${circle}`;
        notes.error(next.path, wrong, 'run another cue here, or repeat one with times');
      } else if (!depths.has(next.name)) {
        way.push(next.name);
        enter(next.name);
      }
    }
  }
  return { sound, endless };
}

function innerCues(notes: Notes, cue: string): Inner[] {
  const { cues } = notes.prop;
  return longCue(cues[cue]!).steps.flatMap((step, i) => {
    const at = stepPath(notes.prop, cue, i);
    return childrenOf(step)
      .filter((child) => Object.hasOwn(cues, child.cue))
      .map((child) => ({ name: child.cue, path: [...at, ...child.at] }));
  });
}

/** Records what is known about a cue once all cues within it are known. */
function leave(
  notes: Notes,
  cue: string,
  { inner, circular }: { inner: Inner[]; circular: boolean },
  known: {
    depths: Map<string, number>;
    sizes: Map<string, number>;
    sound: Set<string>;
    endless: Set<string>;
  },
): void {
  const { depths, sizes, sound, endless } = known;
  const depth =
    1 + inner.reduce((deepest, { name }) => Math.max(deepest, depths.get(name) ?? 0), 0);
  depths.set(cue, depth);
  if (depth === MAX_NESTED + 1)
    notes.error(
      inner.find(({ name }) => depths.get(name) === MAX_NESTED)!.path,
      `here cues are nested more than ${MAX_NESTED} deep`,
      'merge the steps of some of them',
    );
  const { steps } = longCue(notes.prop.cues[cue]!);
  const fits = lintSize(notes, cue, steps, sizes);
  if (steps.some((step) => isEndless(step, endless))) endless.add(cue);
  const ordered = !circular && fits && depth <= MAX_NESTED && !notes.given.broken(['cues', cue]);
  if (ordered && inner.every(({ name }) => sound.has(name))) sound.add(cue);
}

/** Counts a cue's steps with those of the cues within it; reports the innermost cue that has too many. */
function lintSize(
  notes: Notes,
  cue: string,
  steps: readonly CueStep[],
  sizes: Map<string, number>,
): boolean {
  let size = steps.length;
  let largest = 0;
  for (const step of steps) {
    const inner = childrenOf(step).map(({ cue: name }) => sizes.get(name) ?? 0);
    const most = Math.max(0, ...inner);
    size += most;
    largest = Math.max(largest, most);
  }
  sizes.set(cue, size);
  if (size <= MAX_STEPS) return true;
  if (largest <= MAX_STEPS)
    notes.error(
      ['cues', cue],
      `cue ${cue} has ${size} steps, including those of the cues within it, and may have ${MAX_STEPS}`,
      'split it into several cues, or repeat one with times',
    );
  return false;
}

/** Whether a step goes on until it is stopped, or may do so by its `choose`. */
function isEndless(step: CueStep, endless: ReadonlySet<string>): boolean {
  const children = childrenOf(step);
  if (children.length === 0 && step.take === undefined) return false;
  return step.times === 'until stopped' || children.some(({ cue }) => endless.has(cue));
}

// --- plans ----------------------------------------------------------------------------------------

/** Reports problems that only the timeline shows; of each problem only the worst case. */
function lintPlans(notes: Notes, sound: ReadonlySet<string>): void {
  const { prop, given } = notes;
  // Speeds and currents that were cut out of a broken file would get their defaults.
  const parts = ['channels', 'rails', 'groups', 'poses', 'flash'];
  if (parts.some((section) => given.broken([section]))) return;
  const worst = new Map<string, { problem: PlanProblem; within: string }>();
  // Plans of cues within come first: an equally bad problem in a cue's own plan replaces theirs.
  for (const within of sound) {
    for (const problem of cuePlan(prop, within).problems) {
      const known = worst.get(problem.id);
      if (!known || isWorse(problem, known.problem)) worst.set(problem.id, { problem, within });
    }
  }
  for (const { problem, within } of worst.values()) {
    const { severity, path, atKey, cue, right } = problem;
    const wrong = within === cue ? problem.wrong : `within cue ${within}, ${problem.wrong}`;
    notes.add({ severity, path, atKey, wrong, right });
  }
}
