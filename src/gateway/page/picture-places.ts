import type { Params } from '../../api/methods.ts';

export type Places = Record<string, readonly [x: number, y: number]>;
type Edits = NonNullable<Params<'prop.apply'>['edits']>;

/** Edits that one request may have. */
const MAX_EDITS = 200;

/** A place within the picture, to a thousandth of its width and height. */
export function within(x: number, y: number): [number, number] {
  const share = (value: number) => Math.round(Math.min(1, Math.max(0, value)) * 1000) / 1000;
  return [share(x), share(y)];
}

/** What makes the places of the file those that are wanted; none where they are the same. */
export function placeEdits(is: Places, wanted: Places): Edits {
  const edits: Edits = [];
  for (const name of new Set([...Object.keys(is), ...Object.keys(wanted)])) {
    const [was, now] = [is[name], wanted[name]];
    if (was?.[0] === now?.[0] && was?.[1] === now?.[1]) continue;
    edits.push({ path: ['picture', 'places', name], ...(now && { value: [...now] }) });
  }
  return edits.length <= MAX_EDITS ? edits : [{ path: ['picture', 'places'], value: wanted }];
}

/** How far an arrow key moves a mark, and with Shift (shares of the picture). */
const STEP = 0.01;
const LARGE_STEP = 0.05;
const KEYS: Record<string, readonly [number, number]> = {
  ArrowLeft: [-1, 0],
  ArrowRight: [1, 0],
  ArrowUp: [0, -1],
  ArrowDown: [0, 1],
};

/** Where a key moves a mark to; undefined for other keys. */
export function movedBy(
  [x, y]: readonly [number, number],
  { key, shiftKey }: { key: string; shiftKey: boolean },
): [number, number] | undefined {
  const way = KEYS[key];
  if (!way) return undefined;
  const step = shiftKey ? LARGE_STEP : STEP;
  return within(x + way[0] * step, y + way[1] * step);
}
