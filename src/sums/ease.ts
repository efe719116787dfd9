import { clamp } from '../shared/units.ts';

/**
 * Easing functions of CSS Easing Functions Level 1 (W3C): how far a change has got, of how much of
 * its time has passed. Both are shares of 1; a cubic Bézier may lead outside 0..1 on its way.
 */

/**
 * @param progress share of the time, 0..1; anything outside counts as the nearer end.
 * @returns share of the change. Allocates nothing.
 */
export type Ease = (progress: number) => number;

type StepPosition = 'jump-start' | 'jump-end' | 'jump-none' | 'jump-both' | 'start' | 'end';

/** A number as CSS Values Level 3 writes it, section 4.3: `1.` is none. */
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

/**
 * Reads `linear`, `ease`, `ease-in`, `ease-out`, `ease-in-out`, `cubic-bezier(x1, y1, x2, y2)` with
 * x1 and x2 in 0..1, `step-start`, `step-end` and `steps(n, position)`; letters of either case.
 * @returns undefined when the text is none of them.
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
    return sameBezier(x1, y1, x2, y2);
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
  return parseEase(text) !== undefined && !/^\s*step/i.test(text);
}

/** The last curves that were asked for: what was worked out for one serves the next of the kind. */
const beziers = new Map<string, Ease>();
const MAX_BEZIERS = 64;

function sameBezier(...points: [x1: number, y1: number, x2: number, y2: number]): Ease {
  const key = points.join(' ');
  const known = beziers.get(key);
  if (known) return known;
  const ease = cubicBezier(...points);
  if (beziers.size >= MAX_BEZIERS) beziers.delete(beziers.keys().next().value!);
  beziers.set(key, ease);
  return ease;
}

function isShare(value: number): boolean {
  return value >= 0 && value <= 1;
}

/**
 * The cubic Bézier from (0, 0) to (1, 1) with control points (x1, y1) and (x2, y2), x1 and x2 in
 * 0..1 (CSS Easing Functions Level 1, section 2.2): y where x is the progress. x(t) never falls, so
 * Newton's method, kept between bounds that close in, finds the one t.
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
 * Step easing (CSS Easing Functions Level 1, section 2.3, "step easing function"), with the before
 * flag unset: at a step, it has been taken.
 */
function steps(count: number, position: StepPosition): Ease {
  const jumpsFirst = position === 'jump-start' || position === 'start' || position === 'jump-both';
  const first = jumpsFirst ? 1 : 0;
  const jumps = position === 'jump-both' ? count + 1 : position === 'jump-none' ? count - 1 : count;
  return (progress) => Math.min(Math.floor(clamp(progress, 0, 1) * count) + first, jumps) / jumps;
}
