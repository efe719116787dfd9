import { flatGroups } from '../prop/groups.ts';
import { valueAt } from '../prop/schema-remarks.ts';
import { ACTS } from '../prop/steps.ts';
import type { Remove } from './change.ts';
import { type Draft, named, refuse } from './draft.ts';
import { type Reference, type Step, stepsIn } from './references.ts';
import { marksOf } from './rename.ts';
import { wireCalled } from './wires.ts';

/**
 * Takes a part out of the file. What only lists it goes with it and is named; what needs it, such as an
 * interlock or a cue that waits for it, refuses the removal.
 */
export function remove(draft: Draft, change: Remove): void {
  const { what, name } = change;
  switch (what) {
    case 'channel':
      removeChannel(draft, name);
      break;
    case 'rail':
      removeRail(draft, name);
      break;
    case 'group':
      removeGroup(draft, name);
      break;
    case 'pose':
      draft.mustHave(what, 'poses', name);
      removePose(draft, name);
      break;
    case 'sense':
      draft.mustHave(what, 'senses', name);
      draft.cautions.push(`Nothing warns of ${name}, or parks for it, from then on.`);
      draft.remove(draft.goes('senses', name));
      break;
    case 'mark':
      removeMark(draft, change);
      break;
    case 'wire':
      removeWire(draft, name);
  }
}

// --- channels -------------------------------------------------------------------------------------

function removeChannel(draft: Draft, name: string): void {
  draft.mustHave('channel', 'channels', name);
  if (Object.keys(draft.section('channels')).length === 1)
    refuse(`${name} is the only channel; add another first`, []);
  const references = draft.to('channel', name);
  const interlocks = references.filter(({ role, path }) => role === 'requires' && path[1] !== name);
  if (interlocks.length > 0)
    refuse(
      `${name} is needed by the ${named(interlocks.map(({ where }) => where))}, which protects what stands there; change or remove that interlock first`,
      interlocks.map(({ where }) => where),
    );
  const spec = draft.prop.channels[name]!;
  const own = spec.requires ?? [];
  if (own.length > 0)
    draft.cautions.push(
      `The interlock of ${name} goes with it: it needs ${named(own.map(({ channel }) => channel))}. See that ${name} itself is unplugged, or out of the way of everything else.`,
    );
  draft.cautions.push(
    `Nothing drives ${name} from then on. Unplug it: a servo without pulses is limp, and a relay rests as its module does.`,
  );
  const gone = new Gone(draft);
  gone.drop(references, name);
  gone.remove(['channels', name]);
  gone.finish();
  if (spec.wire) draft.touch(`wire ${spec.wire.label}`);
}

/** Collects what goes, so that a list or step that is left empty goes as well. */
class Gone {
  readonly #draft: Draft;
  /** By the text of their path, without what they contain. */
  readonly #paths: (readonly (string | number)[])[] = [];

  constructor(draft: Draft) {
    this.#draft = draft;
  }

  remove(path: readonly (string | number)[]): void {
    this.#paths.push(path);
  }

  /** Takes out what names `gone`. @throws Refusal where that would change more than what is named */
  drop(references: readonly Reference[], gone: string): void {
    const draft = this.#draft;
    const waits = references.filter(({ role }) => role === 'until');
    if (waits.length > 0)
      refuse(
        `${gone} is waited for in ${named(waits.map(({ where }) => where))}; let the cue wait for something else first, or remove the step`,
        waits.map(({ where }) => where),
      );
    const steps = references.filter(({ role }) => role === 'step');
    this.#steps(steps, gone);
    for (const { role, path, where } of references) {
      switch (role) {
        case 'plant':
        case 'carries':
        case 'picture':
        case 'follow':
          this.remove(path);
          break;
        case 'wire':
        case 'sense':
          this.remove(path.slice(0, 2));
          break;
        case 'led':
          this.remove(path.slice(0, 3));
          break;
        case 'member':
        case 'stage':
        case 'pose':
          break;
        default:
          continue;
      }
      draft.touch(where);
    }
    this.#lists(references.filter(({ role }) => role === 'member'));
    this.#poses(references.filter(({ role }) => role === 'pose'));
    this.#stages(references.filter(({ role }) => role === 'stage'));
  }

  /** Members of groups; a group without members goes, unless something needs it. */
  #lists(references: readonly Reference[]): void {
    const draft = this.#draft;
    const groups = draft.section('groups') as Record<string, string[]>;
    const flat = flatGroups(groups).groups;
    for (const { path } of references) {
      const group = String(path[1]);
      const left = flat[group]!.filter((one) => one !== groups[group]![Number(path[2])]);
      if (groups[group]!.length > 1 && left.length > 0) {
        this.remove(path);
        continue;
      }
      const users = draft.to('group', group);
      this.#emptied(
        'group',
        group,
        users.filter(({ role }) => role !== 'stage'),
      );
      this.#stages(users.filter(({ role }) => role === 'stage'));
    }
  }

  /** A group or pose that has nothing left. @throws Refusal where something needs it */
  #emptied(what: 'group' | 'pose', name: string, users: readonly Reference[]): void {
    if (users.length > 0)
      refuse(
        `${what} ${name} would be empty, and is used in ${named(users.map(({ where }) => where))}; change that first`,
        users.map(({ where }) => where),
      );
    this.remove(this.#draft.goes(`${what}s`, name));
  }

  #poses(references: readonly Reference[]): void {
    const draft = this.#draft;
    const poses = draft.section('poses') as Record<string, object>;
    for (const { path } of references) {
      const pose = String(path[1]);
      if (Object.keys(poses[pose]!).length > 1) {
        this.remove(path);
        continue;
      }
      this.#emptied('pose', pose, draft.to('pose', pose));
    }
  }

  #stages(references: readonly Reference[]): void {
    const stages = this.#draft.prop.park.stages.length;
    for (const { path, where } of references) {
      this.#draft.touch(where);
      const { park } = this.#draft.raw as { park: { stages: string[][] } };
      const stage = park.stages[Number(path[2])]!;
      if (stage.length > 1) this.remove(path);
      else this.remove(stages > 1 ? path.slice(0, 3) : ['park', 'stages']);
    }
  }

  #steps(references: readonly Reference[], gone: string): void {
    const draft = this.#draft;
    const all = stepsIn(draft.raw);
    for (const step of all) {
      const mine = references.filter(({ path }) => begins(path, step.path));
      if (mine.length === 0) continue;
      const where = `cue ${step.cue}, step ${step.step + 1}`;
      draft.touch(where);
      const left = without(step, mine);
      if (ACTS.some((act) => left[act] !== undefined)) {
        for (const path of dropped(step, left, mine)) this.remove([...step.path, ...path]);
        continue;
      }
      const { name } = step.data as { name?: string };
      const mates = all.filter(({ cue }) => cue === step.cue);
      const follows = mates.find(({ data }) => name !== undefined && data.after === name);
      if (follows)
        refuse(
          `${where} does nothing without ${gone}, and step ${follows.step + 1} comes after it; change the cue first`,
          [where],
        );
      if (mates.every((one) => isEmptied(one, references)))
        refuse(`cue ${step.cue} does nothing without ${gone}; change or remove the cue first`, [
          `cue ${step.cue}`,
        ]);
      this.remove(step.path);
    }
  }

  /** The removals as edits: the last item of a list first, so that places stay valid. */
  finish(): void {
    const paths = this.#paths.splice(0);
    const within = (path: readonly (string | number)[]) =>
      paths.some((one) => one.length < path.length && begins(path, one));
    const text = new Set<string>();
    const each = paths.filter((path) => {
      const key = JSON.stringify(path);
      return !within(path) && text.size < text.add(key).size;
    });
    each.sort(lastFirst);
    for (const path of each) this.#draft.remove(path);
  }
}

function lastFirst(a: readonly (string | number)[], b: readonly (string | number)[]): number {
  for (const [i, key] of a.entries()) {
    const other = b[i];
    if (key === other) continue;
    if (typeof key === 'number' && typeof other === 'number') return other - key;
    return 0;
  }
  return 0;
}

function begins(path: readonly (string | number)[], start: readonly (string | number)[]): boolean {
  return start.every((key, i) => path[i] === key);
}

/** The step without what is named at these places. */
function without(step: Step, references: readonly Reference[]): Record<string, unknown> {
  const left: Record<string, unknown> = { ...step.data };
  for (const { path } of references) {
    const [part, name] = path.slice(step.path.length) as [string, string | undefined];
    if (name === undefined) {
      delete left[part];
      continue;
    }
    const { [name]: _, ...rest } = left[part] as Record<string, unknown>;
    left[part] = rest;
    if (Object.keys(rest).length === 0) delete left[part];
  }
  const has = (...parts: string[]) => parts.some((part) => left[part] !== undefined);
  const dropIdle = (key: string, ...parts: string[]) => {
    if (left[key] !== undefined && !has(...parts, 'pose', 'cue', 'choose')) delete left[key];
  };
  dropIdle('overS', 'move');
  dropIdle('fadeS', 'colour', 'dim');
  dropIdle('forS', 'switch');
  dropIdle('ease', 'move', 'colour', 'dim');
  return left;
}

/** What must be removed from the step, as paths within it. */
function dropped(
  step: Step,
  left: Readonly<Record<string, unknown>>,
  references: readonly Reference[],
): (readonly (string | number)[])[] {
  const keys = Object.keys(step.data).filter((key) => left[key] === undefined);
  const inner = references
    .map(({ path }) => path.slice(step.path.length))
    .filter(([part, name]) => name !== undefined && left[String(part)] !== undefined);
  return [...keys.map((key) => [key]), ...inner];
}

function isEmptied(step: Step, references: readonly Reference[]): boolean {
  const mine = references.filter(({ path }) => begins(path, step.path));
  if (mine.length === 0) return false;
  const left = without(step, mine);
  return !ACTS.some((act) => left[act] !== undefined);
}

function removePose(draft: Draft, name: string): void {
  draft.mustHave('pose', 'poses', name);
  const gone = new Gone(draft);
  gone.drop(draft.to('pose', name), `pose ${name}`);
  gone.remove(draft.goes('poses', name));
  gone.finish();
}

// --- rails, groups, marks, wires ------------------------------------------------------------------

function removeRail(draft: Draft, name: string): void {
  draft.mustHave('rail', 'rails', name);
  const references = draft.to('rail', name);
  const users = references.filter(({ role }) => role === 'rail');
  if (users.length > 0)
    refuse(
      `${name} still feeds ${named(users.map(({ where }) => where))}; move what draws from it to another rail first`,
      users.map(({ where }) => where),
    );
  const gone = new Gone(draft);
  gone.drop(references, name);
  gone.remove(draft.goes('rails', name));
  gone.finish();
  const { fuse } = draft.prop.rails[name]!;
  if (fuse) draft.cautions.push(`Its fuse of ${fuse.ratingA} A goes from the list as well.`);
}

/** What names the group names its channels instead, so that nothing moves differently. */
function removeGroup(draft: Draft, name: string): void {
  draft.mustHave('group', 'groups', name);
  const groups = draft.section('groups') as Record<string, string[]>;
  const members = flatGroups(groups).groups[name]!;
  const references = draft.to('group', name);
  for (const { role, path, where } of references) {
    draft.touch(`${where}: names ${named(members)} instead`);
    const at = path.slice(0, -1);
    if (role === 'step') {
      const { [name]: to, ...others } = valueAt(draft.raw, at) as Record<string, unknown>;
      if (typeof to === 'object')
        refuse(
          `${where} sends ${name} somewhere by chance, all of it to one place; name its channels in the cue first`,
          [where],
        );
      // In brackets or over lines: the first takes the group's place.
      draft.rename(path, members[0]!);
      for (const member of members.slice(1)) {
        if (Object.hasOwn(others, member)) refuse(`${where} moves ${member} twice`, [where]);
        draft.set([...at, member], to);
      }
      continue;
    }
    const own = valueAt(draft.raw, at) as string[];
    const more = members.filter((one) => !own.includes(one));
    if (more.length === 0)
      refuse(`${where} names ${name} and all of its channels; edit it`, [where]);
    draft.set(path, more[0]);
    for (const [i, one] of more.slice(1).entries()) draft.set([...at, own.length + i], one);
  }
  draft.remove(draft.goes('groups', name));
}

/** What names the mark gets its angle instead, so that nothing goes elsewhere. */
function removeMark(draft: Draft, { name, channels }: Remove): void {
  const servos = marksOf(draft, name, channels);
  for (const { what, name: mark, of, path, where } of draft.references) {
    if (what !== 'mark' || mark !== name || !of.some((one) => servos.includes(one))) continue;
    const angles = new Set(of.map((one) => draft.marks(one)[name]!));
    if (angles.size > 1)
      refuse(
        `${where} moves ${named(of)} together to ${name}, which is another angle for each; change the cue first`,
        [where],
      );
    const [deg] = angles;
    draft.set(path, deg);
    draft.touch(`${where}: ${deg} deg instead`);
  }
  for (const servo of servos) {
    const only = Object.keys(draft.marks(servo)).length === 1;
    draft.remove(['channels', servo, 'marks', ...(only ? [] : [name])]);
  }
}

function removeWire(draft: Draft, name: string): void {
  const { path, own } = wireCalled(draft, name);
  if (own !== undefined) draft.touch(`channel ${own}`);
  const wires = draft.raw.wires as unknown[] | undefined;
  draft.remove(path[0] === 'wires' && wires?.length === 1 ? ['wires'] : path);
  draft.cautions.push('Switch off and unplug the supply before you take the wire out.');
}
