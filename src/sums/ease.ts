import { clamp } from '../shared/units.ts';

/**
 * Easing functions of CSS Easing Functions Level 1 and 2 (W3C): progress of a change as a function of
 * elapsed time, both as shares of 1. A cubic Bézier or `linear()` may leave 0..1 on its way.
 */

/**
 * @param progress share of the time, 0..1; values outside count as the nearer end.
 * @returns share of the change. Allocates nothing.
 */
export type Ease = (progress: number) => number;

type StepPosition = 'jump-start' | 'jump-end' | 'jump-none' | 'jump-both' | 'start' | 'end';

/** A number as CSS Values Level 3 writes it, section 4.3: `1.` is not allowed. */
const NUMBER = String.raw`\s*([+-]?(?:\d*\.)?\d+(?:e[+-]?\d+)?)\s*`;
const CUBIC_BEZIER = new RegExp(`^cubic-bezier\\(${NUMBER},${NUMBER},${NUMBER},${NUMBER}\\)$`);
const STEPS =
  /^steps\(\s*([+-]?\d+)\s*(?:,\s*(jump-start|jump-end|jump-none|jump-both|start|end)\s*)?\)$/;

/** CSS Easing Functions Level 1, sections 2.1 to 2.3. */
const KEYWORDS = new Map<string, Ease>([
  ['linear', (progress) => clamp(progress, 0, 1)],
  ['ease', cubicBezier(0.25, 0.1, 0.25, 1)],
  ['ease-in', cubicBezier(0.42, 0, 1, 1)],
  ['ease-out', cubicBezier(0, 0, 0.58, 1)],
  ['ease-in-out', cubicBezier(0.42, 0, 0.58, 1)],
  ['step-start', steps(1, 'jump-start')],
  ['step-end', steps(1, 'jump-end')],
]);

/** `linear()`: stops between commas, each a number and up to two percentages, before or after it. */
const LINEAR = /^linear\((.*)\)$/s;
const STOP = new RegExp(`^${NUMBER.replaceAll('\\s*', '')}$`);
const PERCENT = new RegExp(`^${NUMBER.replaceAll('\\s*', '')}%$`);
/** Most stops of one `linear()`. */
const MAX_STOPS = 100;

/**
 * Reads `linear`, `ease`, `ease-in`, `ease-out`, `ease-in-out`, `cubic-bezier(x1, y1, x2, y2)` with x1
 * and x2 in 0..1, `step-start`, `step-end`, `steps(n, position)`, and `linear()` with 2 to 100 stops, in
 * upper or lower case.
 * @returns undefined when the text is not one of them.
 */
export function parseEase(text: string): Ease | undefined {
  const source = text.trim().toLowerCase();
  const keyword = KEYWORDS.get(source);
  if (keyword) return keyword;
  const bezier = CUBIC_BEZIER.exec(source);
  if (bezier) {
    const [x1, y1, x2, y2] = bezier.slice(1).map(Number) as [number, number, number, number];
    if (!isShare(x1) || !isShare(x2) || !Number.isFinite(y1) || !Number.isFinite(y2))
      return undefined;
    const key = `cubic-bezier ${[x1, y1, x2, y2].join(' ')}`;
    return same(key, () => cubicBezier(x1, y1, x2, y2));
  }
  const stops = LINEAR.exec(source)?.[1];
  if (stops !== undefined) {
    const points = linearPoints(stops);
    return points && same(`linear ${points.join(' ')}`, () => throughPoints(points));
  }
  const stepped = STEPS.exec(source);
  if (stepped) {
    const count = Number(stepped[1]);
    const position = (stepped[2] ?? 'end') as StepPosition;
    if (!Number.isSafeInteger(count) || count < (position === 'jump-none' ? 2 : 1))
      return undefined;
    return steps(count, position);
  }
  return undefined;
}

/** Whether the text is an easing function without steps: a light can jump, a servo cannot. */
export function isSmooth(text: string): boolean {
  const source = text.trim().toLowerCase();
  if (parseEase(source) === undefined || source.startsWith('step')) return false;
  const stops = LINEAR.exec(source)?.[1];
  const points = stops === undefined ? [] : linearPoints(stops)!;
  for (let i = 2; i < points.length; i += 2)
    if (points[i] === points[i - 2] && points[i + 1] !== points[i - 1]) return false;
  return true;
}

/** Whether the text is a `linear()` with stops: only these may begin and end anywhere. */
export function isLinear(text: string): boolean {
  return LINEAR.test(text.trim().toLowerCase());
}

/** The curves used last: an equal one needs no new computation. */
const kept = new Map<string, Ease>();
const MAX_KEPT = 64;

function same(key: string, make: () => Ease): Ease {
  const known = kept.get(key);
  if (known) return known;
  const ease = make();
  if (kept.size >= MAX_KEPT) kept.delete(kept.keys().next().value!);
  kept.set(key, ease);
  return ease;
}

/**
 * The control points of `linear()`, input and output in turn (CSS Easing Functions Level 2, "create a
 * linear easing function", from memory): a stop with two percentages is two points, inputs never fall,
 * and missing inputs are spread evenly. The specification also allows a single stop, which moves nothing.
 * @param text what is between the parentheses
 */
function linearPoints(text: string): number[] | undefined {
  const stops = text.split(',');
  if (stops.length < 2 || stops.length > MAX_STOPS) return undefined;
  const points: [input: number | undefined, output: number][] = [];
  let largest = Number.NEGATIVE_INFINITY;
  for (const [i, stop] of stops.entries()) {
    const words = stop.trim().split(/\s+/);
    const outputs = words.filter((word) => STOP.test(word));
    const inputs = words.filter((word) => PERCENT.test(word));
    const number = words.findIndex((word) => STOP.test(word));
    // Both percentages must be on the same side of the number.
    const apart = inputs.length === 2 && number === 1;
    if (outputs.length !== 1 || outputs.length + inputs.length !== words.length) return undefined;
    if (inputs.length > 2 || apart) return undefined;
    const output = Number(outputs[0]);
    const given = inputs.map((word) => Number(word.slice(0, -1)) / 100);
    if (given.length === 0 && i === 0) given.push(0);
    if (given.length === 0 && i === stops.length - 1) given.push(1);
    if (![output, ...given].every(Number.isFinite)) return undefined;
    if (given.length === 0) points.push([undefined, output]);
    for (const input of given) {
      largest = Math.max(input, largest);
      points.push([largest, output]);
    }
  }
  for (let i = 1; i < points.length; i++) {
    if (points[i]![0] !== undefined) continue;
    let next = i + 1;
    while (points[next]![0] === undefined) next++;
    const [from, to] = [points[i - 1]![0]!, points[next]![0]!];
    points[i]![0] = from + (to - from) / (next - i + 1);
  }
  return points.flat() as number[];
}

/** The output at an input between control points; beyond them, on the line through the nearest two. */
function throughPoints(points: readonly number[]): Ease {
  const last = points.length / 2 - 2;
  return (progress) => {
    const input = clamp(progress, 0, 1);
    let low = 0;
    let high = last;
    // The last point at or before the input; never the last of all.
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if (points[2 * middle]! <= input) low = middle;
      else high = middle - 1;
    }
    const fromX = points[2 * low]!;
    const fromY = points[2 * low + 1]!;
    const toX = points[2 * low + 2]!;
    const toY = points[2 * low + 3]!;
    if (toX === fromX) return toY;
    return fromY + ((input - fromX) / (toX - fromX)) * (toY - fromY);
  };
}

function isShare(value: number): boolean {
  return value >= 0 && value <= 1;
}

/**
 * The cubic Bézier from (0, 0) to (1, 1) with control points (x1, y1) and (x2, y2), x1 and x2 in 0..1
 * (CSS Easing Functions Level 1, section 2.2): y where x is the progress. x(t) never falls, so Newton's
 * method within narrowing bounds finds the only t.
 */
function cubicBezier(x1: number, y1: number, x2: number, y2: number): Ease {
  // x(t) = ((ax t + bx) t + cx) t, and y alike.
  const cx = 3 * x1;
  const bx = 3 * (x2 - x1) - cx;
  const ax = 1 - cx - bx;
  const cy = 3 * y1;
  const by = 3 * (y2 - y1) - cy;
  const ay = 1 - cy - by;
  return (progress) => {
    if (!(progress > 0)) return 0;
    if (progress >= 1) return 1;
    let low = 0;
    let high = 1;
    let t = progress;
    for (let i = 0; i < 60; i++) {
      const error = ((ax * t + bx) * t + cx) * t - progress;
      if (Math.abs(error) <= Number.EPSILON * progress) break;
      if (error > 0) high = t;
      else low = t;
      const newton = t - error / ((3 * ax * t + 2 * bx) * t + cx);
      const next = newton > low && newton < high ? newton : (low + high) / 2;
      if (next === t) break;
      t = next;
    }
    return ((ay * t + by) * t + cy) * t;
  };
}

/**
 * Step easing (CSS Easing Functions Level 1, section 2.3, "step easing function"), with the before flag
 * unset: at a step, the new value applies.
 */
function steps(count: number, position: StepPosition): Ease {
  const jumpsFirst = position === 'jump-start' || position === 'start' || position === 'jump-both';
  const first = jumpsFirst ? 1 : 0;
  const jumps = position === 'jump-both' ? count + 1 : position === 'jump-none' ? count - 1 : count;
  return (progress) => Math.min(Math.floor(clamp(progress, 0, 1) * count) + first, jumps) / jumps;
}
