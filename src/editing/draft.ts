import type { Edit } from '../prop/edit-text.ts';
import { didYouMean, type Path } from '../prop/finding.ts';
import type { Loaded } from '../prop/load.ts';
import { NAME } from '../prop/name.ts';
import type { Prop } from '../prop/schema.ts';
import { Refusal } from '../shared/errors.ts';
import { type Reference, referencesIn } from './references.ts';

type Data = Record<string, unknown>;

/** One value that was chosen for the person, who may choose otherwise. */
export interface Reason {
  what: string;
  value: string;
  why: string;
}

/** A change while it is put together: edits in the order in which they are made. */
export class Draft {
  readonly prop: Prop;
  readonly raw: Data;
  readonly edits: Edit[] = [];
  /** What else changes: a line each, in words. */
  readonly touches: string[] = [];
  readonly reasons: Reason[] = [];
  readonly cautions: string[] = [];
  #references: Reference[] | undefined;

  /** @throws Refusal `file.has-errors` */
  constructor(loaded: Loaded) {
    if (!loaded.prop)
      throw new Refusal('file.has-errors', 'the prop file has errors; fix them first');
    this.prop = loaded.prop;
    this.raw = loaded.raw as Data;
  }

  get references(): readonly Reference[] {
    this.#references ??= referencesIn(this.raw);
    return this.#references;
  }

  to(what: Reference['what'], name: string): Reference[] {
    return this.references.filter((one) => one.what === what && one.name === name);
  }

  set(path: Path, value: unknown): void {
    this.edits.push({ path: [...path], value });
  }

  rename(path: Path, name: string): void {
    this.edits.push({ path: [...path], rename: name });
  }

  remove(path: Path): void {
    this.edits.push({ path: [...path] });
  }

  place(path: Path, place: number): void {
    this.edits.push({ path: [...path], place });
  }

  /** Adds a line, once. */
  touch(line: string): void {
    if (!this.touches.includes(line)) this.touches.push(line);
  }

  because(what: string, value: string, why: string): void {
    this.reasons.push({ what, value, why });
  }

  /** The entries of a section as written. */
  section(name: string): Data {
    return (this.raw[name] ?? {}) as Data;
  }

  /** The path of an entry that goes: with the last one, the whole section. */
  goes(section: string, name: string): Path {
    return Object.keys(this.section(section)).length === 1 ? [section] : [section, name];
  }

  /** The marks of a servo. */
  marks(channel: string): Record<string, number> {
    const { marks } = this.section('channels')[channel] as { marks?: Record<string, number> };
    return marks ?? {};
  }

  /** @throws Refusal where there is no such entry */
  mustHave(what: string, section: string, name: string): void {
    const entries = this.section(section);
    if (Object.hasOwn(entries, name)) return;
    refuse(`there is no ${what} ${name}; ${didYouMean(name, Object.keys(entries))}`, []);
  }

  /** @throws Refusal for a name that cannot be given. @param taken what shares its names */
  mustBeFree(what: string, name: string, taken: Iterable<string>): void {
    if (!NAME.test(name))
      refuse(
        `${name} is not a name for a ${what}; use a letter, then letters, digits, _ or - (64 at most)`,
        [],
      );
    for (const other of taken)
      if (other === name)
        refuse(`${name} cannot be the name of this ${what}: it is taken; give another name`, []);
  }

  /** The names that channels and groups share: each may be used where the other may. */
  get movable(): string[] {
    return [...Object.keys(this.section('channels')), ...Object.keys(this.section('groups'))];
  }
}

/** @throws Refusal `change.refused` that names places */
export function refuse(reason: string, places: readonly string[]): never {
  throw new Refusal('change.refused', reason, { places });
}

/** `a, b and c`; a long list is cut short. */
export function named(places: readonly string[]): string {
  const each = [...new Set(places)];
  const shown = each.slice(0, 6);
  if (each.length > shown.length) return `${shown.join(', ')} and ${each.length - 6} more`;
  return shown.length > 1
    ? `${shown.slice(0, -1).join(', ')} and ${shown.at(-1)}`
    : (shown[0] ?? '');
}
