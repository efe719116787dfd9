import { sameData } from '../prop/edit-text.ts';
import { ACTS } from '../prop/steps.ts';

/** Which steps of a cue are still there after an edit, so that each keeps its text and its comments. */

type Step = Record<string, unknown>;

/** More pairs of steps than this are not compared one by one. */
const MAX_PAIRS = 1_000_000;

/**
 * For each new step the place (from 0) of the old one that it was made from, or -1. Each old step is used
 * once. Unchanged steps come first (a longest common subsequence), then steps that went elsewhere, by
 * equal content or name, then those that were changed where they stand.
 */
export function matchSteps(before: readonly Step[], after: readonly Step[]): number[] {
  const old = before.map(keyOf);
  const now = after.map(keyOf);
  const from = new Array<number>(after.length).fill(-1);
  const used = new Set<number>();
  const match = (j: number, i: number) => {
    from[j] = i;
    used.add(i);
  };
  for (const [i, j] of common(old, now)) match(j, i);
  elsewhere(old, now, from, used, match);
  const names = (steps: readonly Step[]) =>
    steps.map(({ name }) => (typeof name === 'string' ? name : undefined));
  elsewhere(names(before), names(after), from, used, match);
  const inGaps = (least: number) => {
    for (const { olds, news } of gaps(before.length, from, used))
      inPlace(before, after, olds, news, least, match);
  };
  inGaps(ALIKE);
  changedElsewhere(before, after, from, used, match);
  // What stands where something stood has taken its place.
  inGaps(0);
  return from;
}

/** The content of a step, whatever the order of its keys. */
function keyOf(step: Step): string {
  return JSON.stringify(step, (_key, value) =>
    typeof value === 'object' && value !== null && !Array.isArray(value)
      ? Object.fromEntries(Object.entries(value).sort(([a], [b]) => (a < b ? -1 : 1)))
      : value,
  );
}

/** Pairs of a longest common subsequence; of a long one in the middle, a good one. */
function common(old: readonly string[], now: readonly string[]): [i: number, j: number][] {
  const pairs: [number, number][] = [];
  let start = 0;
  while (start < old.length && start < now.length && old[start] === now[start])
    pairs.push([start, start++]);
  let [a, b] = [old.length, now.length];
  const ends: [number, number][] = [];
  while (a > start && b > start && old[a - 1] === now[b - 1]) ends.push([--a, --b]);
  pairs.push(...middle(old.slice(start, a), now.slice(start, b)).map(shifted(start)));
  return [...pairs, ...ends.reverse()];
}

const shifted =
  (by: number) =>
  ([i, j]: [number, number]): [number, number] => [i + by, j + by];

function middle(old: readonly string[], now: readonly string[]): [number, number][] {
  if (old.length * now.length > MAX_PAIRS) return inTurn(old, now);
  const width = now.length + 1;
  const longest = new Uint16Array((old.length + 1) * width);
  for (let i = old.length - 1; i >= 0; i--)
    for (let j = now.length - 1; j >= 0; j--)
      longest[i * width + j] =
        old[i] === now[j]
          ? longest[(i + 1) * width + j + 1]! + 1
          : Math.max(longest[(i + 1) * width + j]!, longest[i * width + j + 1]!);
  const pairs: [number, number][] = [];
  for (let i = 0, j = 0; i < old.length && j < now.length; )
    if (old[i] === now[j]) pairs.push([i++, j++]);
    else if (longest[(i + 1) * width + j]! >= longest[i * width + j + 1]!) i++;
    else j++;
  return pairs;
}

/** Each new step with the next old one that is equal to it. */
function inTurn(old: readonly string[], now: readonly string[]): [number, number][] {
  const places = new Map<string, number[]>();
  for (const [i, key] of old.entries()) {
    const known = places.get(key);
    if (known) known.push(i);
    else places.set(key, [i]);
  }
  const pairs: [number, number][] = [];
  let next = 0;
  for (const [j, key] of now.entries()) {
    const i = places.get(key)?.find((place) => place >= next);
    if (i === undefined) continue;
    pairs.push([i, j]);
    next = i + 1;
  }
  return pairs;
}

/** Steps that are still there at another place. */
function elsewhere(
  old: readonly (string | undefined)[],
  now: readonly (string | undefined)[],
  from: readonly number[],
  used: ReadonlySet<number>,
  match: (j: number, i: number) => void,
): void {
  const free = new Map<string, number[]>();
  for (const [i, key] of old.entries())
    if (key !== undefined && !used.has(i)) free.set(key, [...(free.get(key) ?? []), i]);
  for (const [j, key] of now.entries()) {
    if (from[j] !== -1 || key === undefined) continue;
    const i = free.get(key)?.shift();
    if (i !== undefined) match(j, i);
  }
}

/** Old and new steps without a partner, between partners in the order of the file. */
function gaps(
  count: number,
  from: readonly number[],
  used: ReadonlySet<number>,
): { olds: number[]; news: number[] }[] {
  const found: { olds: number[]; news: number[] }[] = [];
  let last = -1;
  let news: number[] = [];
  const close = (until: number) => {
    if (until < last) return;
    const olds: number[] = [];
    for (let i = last + 1; i < until; i++) if (!used.has(i)) olds.push(i);
    if (news.length > 0 && olds.length > 0) found.push({ olds, news });
    news = [];
    last = until;
  };
  for (const [j, i] of from.entries())
    if (i === -1) news.push(j);
    else close(i);
  close(count);
  return found;
}

/** Pairs the most similar steps of a gap, in their order. @param least how alike they must be */
function inPlace(
  before: readonly Step[],
  after: readonly Step[],
  olds: readonly number[],
  news: readonly number[],
  least: number,
  match: (j: number, i: number) => void,
): void {
  if (olds.length * news.length > MAX_PAIRS / 100) {
    for (const [at, j] of news.entries()) if (olds[at] !== undefined) match(j, olds[at]);
    return;
  }
  const width = news.length + 1;
  const best = new Float64Array((olds.length + 1) * width);
  for (let i = olds.length - 1; i >= 0; i--)
    for (let j = news.length - 1; j >= 0; j--) {
      const alike = likeness(before[olds[i]!]!, after[news[j]!]!);
      const pair = alike < least ? Number.NEGATIVE_INFINITY : 0.01 + alike;
      best[i * width + j] = Math.max(
        pair + best[(i + 1) * width + j + 1]!,
        best[(i + 1) * width + j]!,
        best[i * width + j + 1]!,
      );
    }
  for (let i = 0, j = 0; i < olds.length && j < news.length; ) {
    const here = best[i * width + j]!;
    if (here === best[(i + 1) * width + j]) i++;
    else if (here === best[i * width + j + 1]) j++;
    else match(news[j++]!, olds[i++]!);
  }
}

/** A step that is less like another than this is not the same one at another place. */
const ALIKE = 0.25;

/** The most similar of those that are left, wherever they stand. */
function changedElsewhere(
  before: readonly Step[],
  after: readonly Step[],
  from: readonly number[],
  used: ReadonlySet<number>,
  match: (j: number, i: number) => void,
): void {
  const olds = before.map((_, i) => i).filter((i) => !used.has(i));
  const news = from.flatMap((i, j) => (i === -1 ? [j] : []));
  if (olds.length * news.length > MAX_PAIRS / 100) return;
  const pairs = olds.flatMap((i) =>
    news
      .filter((j) => sharesSubject(before[i]!, after[j]!))
      .map((j) => ({ i, j, alike: likeness(before[i]!, after[j]!) })),
  );
  pairs.sort((a, b) => b.alike - a.alike);
  for (const { i, j, alike } of pairs)
    if (alike >= ALIKE && from[j] === -1 && !used.has(i)) match(j, i);
}

/** Whether both command one channel in the same way, or both call a pose or a cue. */
function sharesSubject(a: Step, b: Step): boolean {
  return ACTS.some((act) => {
    const [one, other] = [a[act], b[act]];
    if (one === undefined || other === undefined) return false;
    if (typeof one !== 'object' || typeof other !== 'object') return true;
    return Object.keys(one ?? {}).some((name) => Object.hasOwn(other ?? {}, name));
  });
}

/** The part of what two steps say that is the same (0..1). */
function likeness(a: Step, b: Step): number {
  const keys = new Set([...Object.keys(a), ...Object.keys(b)]);
  let same = 0;
  for (const key of keys)
    if (sameData(a[key], b[key])) same += 1;
    else if (a[key] !== undefined && b[key] !== undefined) same += 0.4;
  return keys.size === 0 ? 1 : same / keys.size;
}
