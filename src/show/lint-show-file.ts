import { cueDurationS } from '../prop/cue-plan.ts';
import { didYouMean, type Path, type Remark } from '../prop/finding.ts';
import type { Loaded } from '../prop/load.ts';
import type { Prop } from '../prop/schema.ts';
import { askedOf, propsOf, type ShowCondition, type ShowFile, type ShowStep } from './show-file.ts';

/** A name that means every prop. */
const ALL = 'all';

/**
 * Checks what the schema cannot: names, the prop files, supplies.
 * @param loaded the prop files, by the name of the prop
 * @param isWritten whether the file has something there, right or wrong
 */
export function lintShowFile(
  show: ShowFile,
  loaded: ReadonlyMap<string, Loaded>,
  isWritten: (path: Path) => boolean,
): Remark[] {
  const check = new Check(show, loaded, isWritten);
  check.props();
  check.groups();
  check.supplies();
  check.timeline();
  return check.remarks;
}

class Check {
  readonly remarks: Remark[] = [];
  readonly #show: ShowFile;
  readonly #loaded: ReadonlyMap<string, Loaded>;
  readonly #isWritten: (path: Path) => boolean;

  constructor(
    show: ShowFile,
    loaded: ReadonlyMap<string, Loaded>,
    isWritten: (path: Path) => boolean,
  ) {
    this.#show = show;
    this.#loaded = loaded;
    this.#isWritten = isWritten;
  }

  #say(
    severity: Remark['severity'],
    path: Path,
    wrong: string,
    right: string,
    atKey = false,
  ): void {
    this.remarks.push({ severity, path, wrong, right, atKey });
  }

  #prop(name: string): Prop | undefined {
    return this.#loaded.get(name)?.prop;
  }

  props(): void {
    const { name: showName, props } = this.#show;
    const absent: string[] = [];
    if (Object.hasOwn(props, ALL))
      this.#say('error', ['props', ALL], `${ALL} means every prop`, 'rename it', true);
    for (const [name, { file }] of Object.entries(props)) {
      const path = ['props', name, 'file'];
      const { prop, findings } = this.#loaded.get(name)!;
      if (!prop) {
        const wrong = findings.filter(({ severity }) => severity === 'error');
        const [first] = wrong;
        const where = first!.line === 1 ? '' : ` in line ${first!.line}`;
        const more = wrong.length > 1 ? `, and ${wrong.length - 1} more` : '';
        const right = `see sinew check ${file}`;
        this.#say('error', path, `${file}: ${first!.wrong}${where}${more}`, right);
        continue;
      }
      if (!prop.show) {
        absent.push(name);
        continue;
      }
      const { name: ofShow, prop: called } = prop.show;
      if (showName !== '' && ofShow !== showName)
        this.#say(
          'error',
          path,
          `${file} takes part in show ${ofShow}`,
          `name this show ${ofShow}, or change that file`,
        );
      if (called !== name)
        this.#say(
          'error',
          path,
          `${file} is called ${called} in the show`,
          `call it ${called} here, or change that file`,
        );
    }
    if (absent.length > 0)
      this.#say(
        'note',
        ['props'],
        `${absent.join(', ')}: the prop file has no show, so the prop can be rehearsed but hears nothing`,
        'add show: { name, prop, broker } to it, for the real show',
      );
  }

  groups(): void {
    const { groups, props } = this.#show;
    for (const [group, members] of Object.entries(groups)) {
      if (group === ALL || Object.hasOwn(props, group))
        this.#say(
          'error',
          ['groups', group],
          `${group} is ${group === ALL ? 'every prop' : 'a prop'}, too`,
          'rename the group',
          true,
        );
      for (const [i, member] of members.entries()) this.#known(member, ['groups', group, i]);
    }
  }

  /** Whether there is such a prop; a finding, if not. */
  #known(prop: string, path: Path, atKey = false): boolean {
    const { props } = this.#show;
    if (Object.hasOwn(props, prop) || this.#isWritten(['props', prop])) return true;
    this.#say(
      'error',
      path,
      `there is no prop ${prop}`,
      didYouMean(prop, Object.keys(props)),
      atKey,
    );
    return false;
  }

  supplies(): void {
    const fed = new Map<string, string>();
    for (const [supply, { rails }] of Object.entries(this.#show.supplies))
      for (const [name, list] of Object.entries(rails)) {
        const path = ['supplies', supply, 'rails', name];
        const prop = this.#known(name, path, true) && this.#prop(name);
        if (!prop) continue;
        for (const [i, rail] of list.entries()) {
          const at = [...path, i];
          if (!Object.hasOwn(prop.rails, rail)) {
            const right = didYouMean(rail, Object.keys(prop.rails));
            this.#say('error', at, `${name} has no rail ${rail}`, right);
            continue;
          }
          const key = `${name} ${rail}`;
          const other = fed.get(key);
          if (other !== undefined)
            this.#say('error', at, `supply ${other} feeds this rail already`, 'name it once');
          fed.set(key, supply);
        }
      }
  }

  timeline(): void {
    const { timeline } = this.#show;
    for (const [i, step] of timeline.entries()) {
      const path = ['timeline', i];
      for (const [target, cue] of Object.entries(step.go ?? {}))
        for (const prop of this.#targets(target, [...path, 'go', target], true))
          this.#cue(prop, cue, [...path, 'go', target], step);
      for (const key of ['end', 'park'] as const)
        for (const [j, target] of (step[key] ?? []).entries())
          this.#targets(target, [...path, key, j], false);
      for (const [j, one] of (step.only ?? []).entries()) this.#only(one, [...path, 'only', j]);
      const asked = askedOf(this.#show, step).map(({ prop }) => prop);
      const twice = asked.find((prop, k) => asked.indexOf(prop) < k);
      if (twice !== undefined)
        this.#say('error', path, `${twice} is named more than once`, 'name it once in a step');
    }
  }

  #targets(target: string, path: Path, atKey: boolean): string[] {
    const found = propsOf(this.#show, target);
    const written = this.#isWritten(['props', target]) || this.#isWritten(['groups', target]);
    if (found.length > 0 || written) return found;
    const known = [...Object.keys(this.#show.props), ...Object.keys(this.#show.groups), ALL];
    this.#say(
      'error',
      path,
      `there is no prop or group ${target}`,
      didYouMean(target, known),
      atKey,
    );
    return [];
  }

  #cue(name: string, cue: string, path: Path, { at }: ShowStep): void {
    const prop = this.#prop(name);
    if (!prop || !this.#hasCue(name, prop, cue, path) || cueDurationS(prop, cue) !== null) return;
    const { timeline } = this.#show;
    const ends = timeline.some(
      (step) =>
        step.at > at &&
        askedOf(this.#show, step).some((one) => one.prop === name && one.act !== 'go'),
    );
    if (!ends)
      this.#say(
        'warning',
        path,
        `cue ${cue} of ${name} goes on until it is stopped, and nothing in the timeline ends it`,
        `add a step with end: [${name}]`,
      );
  }

  #hasCue(name: string, prop: Prop, cue: string, path: Path): boolean {
    if (Object.hasOwn(prop.cues, cue)) return true;
    this.#say('error', path, `${name} has no cue ${cue}`, didYouMean(cue, Object.keys(prop.cues)));
    return false;
  }

  #only({ prop: name, runs }: ShowCondition, path: Path): void {
    if (!this.#known(name, [...path, 'prop']) || runs === undefined) return;
    const prop = this.#prop(name);
    if (prop) this.#hasCue(name, prop, runs, [...path, 'runs']);
  }
}
