import type { Explanation, KeyInfo } from '../prop/explain.ts';

/** What the key reference says of a key, word for word the same on the page and the command line. */

type Told = Pick<KeyInfo, 'form' | 'required' | 'default'> & { example?: string | undefined };

/** A label and what it is about: `write`, `number, from 0`. */
export type Fact = readonly [label: string, text: string];

/** The heading of a key. */
export function keyTitle({ path, required }: Pick<Explanation, 'path' | 'required'>): string {
  return `${path || 'a prop file'}${path && required ? ' (must be there)' : ''}`;
}

/** What may be written, what counts without it, and an example. */
export function keyFacts(key: Told): Fact[] {
  return [
    ['write', key.form],
    ...(key.default === undefined ? [] : [['without it', written(key.default)] as const]),
    ...(key.example === undefined ? [] : [['such as', key.example] as const]),
  ];
}

/** A key in the list of those that another one may have. */
export function keyLine({ name, about, ...key }: KeyInfo): { about: string; more: string } {
  const more = [
    ...(about === undefined ? [] : [key.form]),
    ...(key.required ? ['must be there'] : []),
    ...(key.default === undefined ? [] : [`without it: ${written(key.default)}`]),
  ];
  return { about: about ?? key.form, more: more.join('; ') };
}

/** Before the kinds that a place may be of. */
export const KINDS_TITLE = 'its keys depend on the kind';

/** As the file would have it: `{ timeoutMs: 500, onLoss: park }`. */
function written(value: unknown): string {
  if (typeof value === 'string') return value;
  if (Array.isArray(value)) return `[${value.map(written).join(', ')}]`;
  if (typeof value !== 'object' || value === null) return JSON.stringify(value);
  const entries = Object.entries(value).map(([key, one]) => `${key}: ${written(one)}`);
  return `{ ${entries.join(', ')} }`;
}
