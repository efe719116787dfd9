/**
 * The motion nearest to a wanted one that a servo can follow: a uniform cubic B-spline (C. de Boor, "A
 * Practical Guide to Splines", 1978, chapters IX to XI; from memory) whose control points are found by a
 * quadratic program.
 *
 * With knots every h seconds and control points c, the position at a knot is (c0 + 4 c1 + c2) / 6, and the
 * spline is C2: position, velocity and acceleration are continuous, the jerk is constant in each piece.
 * Its velocity and acceleration are splines with the control points D c / h and D2 c / h2 (D: difference),
 * so they stay within the hull of these, and the jerk of a piece is D3 c / h3. Its position stays within
 * the hull of its Bezier points, which are (2 c0 + c1) / 3 and (c0 + 2 c1) / 3 of neighbours, and means of
 * those. So limits of position, speed, acceleration and jerk are limits of sums of up to four neighbours.
 *
 * The program (least squares of the distance at the knots, within these limits) is convex. It is solved by
 * Mehrotra's predictor-corrector method (S. Mehrotra, "On the implementation of a primal-dual interior
 * point method", SIAM Journal on Optimization 2, 1992; J. Nocedal and S. Wright, "Numerical Optimization",
 * 2nd edition, 2006, section 16.6; both from memory). The matrix has three diagonals on each side of the
 * middle, so the work grows in proportion to the length. As all of the wanted motion is known, the spline
 * begins early what would come too late otherwise.
 */

/** What the spline must keep to; all in deg and s. */
export interface FitLimits {
  low: number;
  high: number;
  speed: number;
  accel: number;
  jerk: number | undefined;
}

/** Diagonals of the matrix: the middle one and three beside it. */
const BAND = 4;
/** Limits of rates are kept with this share to spare, for rounding. */
const SPARE = 1e-7;
/** Angles (deg) that differ by less are the same but for rounding: an end may rest exactly on a limit. */
const SAME_DEG = 1e-9;
const MAX_ROUNDS = 80;
/** The mean product of slack and multiplier at which the solution is good enough (deg2). */
const GOOD = 1e-7;
/** The largest violation (share of its limit) at which it counts as kept, before it is checked. */
const KEPT = 1e-9;

/** Rows of one kind: weighted sums of neighbours, each within -1 to 1. */
interface Family {
  weights: readonly number[];
  centre: number;
}

function familiesOf(limits: FitLimits, h: number): Family[] {
  const { low, high, speed, accel, jerk } = limits;
  const of = (weights: readonly number[], most: number, centre = 0): Family => ({
    weights: weights.map((one) => one / most),
    centre: centre / most,
  });
  const spare = 1 - SPARE;
  const half = (high - low) / 2;
  const middle = (high + low) / 2;
  const families = [
    of([2 / 3, 1 / 3], half, middle),
    of([1 / 3, 2 / 3], half, middle),
    of([-1, 1], speed * h * spare),
    of([1, -2, 1], accel * h * h * spare),
  ];
  if (jerk !== undefined) families.push(of([-1, 3, -3, 1], jerk * h * h * h * spare));
  return families;
}

/**
 * The control points of the spline nearest to `wanted` within the limits, at rest at both ends, where it
 * has the first and the last wanted position.
 * @param wanted positions at the knots (deg), 7 or more, the first and the last of them within the limits
 * @param h the time between knots (s)
 * @returns one more than the knots at each end; undefined where none was found. It keeps the limits: that
 *   is checked.
 */
export function nearestSpline(
  wanted: Float64Array,
  h: number,
  limits: FitLimits,
): Float64Array | undefined {
  const fit = new Fit(wanted, familiesOf(limits, h), limits.jerk === undefined);
  const free = fit.unlimited();
  if (keepsLimits(free, h, limits)) return free;
  const found = fit.limited();
  return found && keepsLimits(found, h, limits) ? found : undefined;
}

/** Whether a spline with these control points keeps the limits. */
export function keepsLimits(c: Float64Array, h: number, limits: FitLimits): boolean {
  const { low, high, speed, accel, jerk = Number.POSITIVE_INFINITY } = limits;
  for (let i = 0; i + 1 < c.length; i++) {
    const [c0, c1] = [c[i]!, c[i + 1]!];
    const [c2, c3] = [c[i + 2] ?? c1, c[i + 3] ?? c[i + 2] ?? c1];
    const [first, second] = [(2 * c0 + c1) / 3, (c0 + 2 * c1) / 3];
    if (!(Math.min(first, second) >= low - SAME_DEG)) return false;
    if (!(Math.max(first, second) <= high + SAME_DEG)) return false;
    if (!(Math.abs(c1 - c0) <= speed * h)) return false;
    if (i + 2 < c.length && !(Math.abs(c0 - 2 * c1 + c2) <= accel * h * h)) return false;
    if (i + 3 < c.length && !(Math.abs(c3 - 3 * c2 + 3 * c1 - c0) <= jerk * h * h * h))
      return false;
  }
  return true;
}

/** Control points at each end that follow from what is known there. */
const ENDS = 3;

class Fit {
  readonly #families: Family[];
  readonly #c: Float64Array;
  /** How many unknowns there are. */
  readonly #n: number;
  /** For each control point, the unknown that it follows (-1: none), by how much, and what is added. */
  readonly #unknown: Int32Array;
  readonly #by: Float64Array;
  readonly #plus: Float64Array;
  readonly #hessian: Float64Array;
  readonly #linear: Float64Array;
  readonly #matrix: Float64Array;
  /** Where it starts and ends (deg). */
  readonly #ends: readonly [number, number];

  /** @param suddenly it may start and end with any acceleration, otherwise with none */
  constructor(wanted: Float64Array, families: Family[], suddenly: boolean) {
    this.#families = families;
    const size = wanted.length + 2;
    const [from, to] = [wanted[0]!, wanted.at(-1)!];
    this.#ends = [from, to];
    this.#c = new Float64Array(size);
    this.#unknown = new Int32Array(size).fill(-1);
    this.#by = new Float64Array(size).fill(1);
    this.#plus = new Float64Array(size);
    // Three equal ones are rest. With an acceleration, position and velocity are still those of rest:
    // c0 = c2, and c1 = (3 from - c2) / 2.
    const first = suddenly ? ENDS - 1 : ENDS;
    this.#n = size - 2 * first;
    for (let i = 0; i < this.#n; i++) this.#unknown[first + i] = i;
    for (const [place, deg, unknown] of [
      [(i: number) => i, from, 0],
      [(i: number) => size - 1 - i, to, this.#n - 1],
    ] as const) {
      if (!suddenly) for (let i = 0; i < ENDS; i++) this.#plus[place(i)] = deg;
      else {
        this.#unknown[place(0)] = unknown;
        this.#unknown[place(1)] = unknown;
        this.#by[place(1)] = -1 / 2;
        this.#plus[place(1)] = (3 / 2) * deg;
      }
    }
    this.#hessian = new Float64Array(this.#n * BAND);
    this.#matrix = new Float64Array(this.#n * BAND);
    this.#linear = new Float64Array(this.#n);
    // Half of the sum of the squared distances at the knots.
    const weights = [1 / 6, 4 / 6, 1 / 6];
    for (let k = 0; k < wanted.length; k++) {
      let rest = wanted[k]!;
      for (let i = 0; i < 3; i++) rest -= weights[i]! * this.#plus[k + i]!;
      for (let i = 0; i < 3; i++) {
        const at = this.#unknown[k + i]!;
        if (at >= 0) this.#linear[at]! += weights[i]! * this.#by[k + i]! * rest;
      }
      this.#addSquare(this.#hessian, weights, k, 1);
    }
  }

  /** Adds the square of a weighted sum of neighbours, from control point `first` on, to a matrix. */
  #addSquare(
    matrix: Float64Array,
    weights: readonly number[],
    first: number,
    factor: number,
  ): void {
    const { length } = weights;
    for (let j = 0; j < length; j++) {
      const at = this.#unknown[first + j]!;
      if (at < 0) continue;
      const weighted = factor * weights[j]! * this.#by[first + j]!;
      for (let k = 0; k < length; k++) {
        const other = this.#unknown[first + k]!;
        if (other < 0 || other > at) continue;
        matrix[at * BAND + at - other]! += weighted * weights[k]! * this.#by[first + k]!;
      }
    }
  }

  /** The control points for these unknowns. @param change only how they change with them */
  #points(x: Float64Array, into: Float64Array, change = false): void {
    for (let i = 0; i < into.length; i++) {
      const at = this.#unknown[i]!;
      const plus = change ? 0 : this.#plus[i]!;
      into[i] = at < 0 ? plus : this.#by[i]! * x[at]! + plus;
    }
  }

  /** Without any limits. */
  unlimited(): Float64Array {
    this.#matrix.set(this.#hessian);
    factor(this.#matrix, this.#n);
    const x = this.#linear.slice();
    solve(this.#matrix, this.#n, x);
    const c = new Float64Array(this.#c.length);
    this.#points(x, c);
    return c;
  }

  limited(): Float64Array | undefined {
    const n = this.#n;
    const c = this.#c;
    const families = this.#families;
    // Rows of each family that depend on an unknown: from which control point on, and how many.
    const free = Array.from(c.keys()).filter((i) => this.#unknown[i]! >= 0);
    const [firstFree, lastFree] = [free[0]!, free.at(-1)!];
    const firsts = families.map(({ weights }) => Math.max(0, firstFree - weights.length + 1));
    const counts = families.map(
      ({ weights }, f) => Math.min(lastFree, c.length - weights.length) - firsts[f]! + 1,
    );
    const rows = counts.reduce((sum, one) => sum + one, 0);
    const upper = new Side(rows);
    const lower = new Side(rows);
    const values = new Float64Array(rows);
    const changes = new Float64Array(rows);
    const dual = new Float64Array(n);
    const step = new Float64Array(n);
    const pull = new Float64Array(rows);
    const changed = new Float64Array(c.length);
    const x = new Float64Array(n);
    const [from, to] = this.#ends;

    const evaluate = (points: Float64Array, into: Float64Array, centred: boolean): void => {
      let row = 0;
      for (const [f, { weights, centre }] of families.entries()) {
        const first = firsts[f]!;
        const minus = centred ? centre : 0;
        const [w0, w1, w2 = 0, w3 = 0] = weights as [number, number, number?, number?];
        const { length } = weights;
        for (let i = first; i < first + counts[f]!; i++, row++) {
          let sum = w0 * points[i]! + w1 * points[i + 1]! - minus;
          if (length > 2) sum += w2 * points[i + 2]!;
          if (length > 3) sum += w3 * points[i + 3]!;
          into[row] = sum;
        }
      }
    };
    /** Adds each row, times its factor, to a vector of the free control points. */
    const spreadInto = (factors: Float64Array, into: Float64Array, sign: number): void => {
      let row = 0;
      for (const [f, { weights }] of families.entries()) {
        const first = firsts[f]!;
        for (let i = first; i < first + counts[f]!; i++, row++) {
          const by = sign * factors[row]!;
          for (let j = 0; j < weights.length; j++) {
            const at = this.#unknown[i + j]!;
            if (at >= 0) into[at]! += by * weights[j]! * this.#by[i + j]!;
          }
        }
      }
    };

    for (let i = 0; i < n; i++) x[i] = from + ((to - from) * (i + 1)) / (n + 1);
    this.#points(x, c);
    evaluate(c, values, true);
    for (let row = 0; row < rows; row++) {
      upper.begin(row, 1 - values[row]!);
      lower.begin(row, 1 + values[row]!);
    }

    for (let round = 0; round < MAX_ROUNDS; round++) {
      evaluate(c, values, true);
      const violated = Math.max(upper.miss(values, 1), lower.miss(values, -1));
      const gap = (upper.gap() + lower.gap()) / (2 * rows);
      if (gap < GOOD && violated < KEPT) return c;
      if (!Number.isFinite(gap + violated)) return undefined;

      this.#gradient(x, dual);
      for (let row = 0; row < rows; row++) pull[row] = upper.dual[row]! - lower.dual[row]!;
      spreadInto(pull, dual, 1);

      this.#assemble(firsts, counts, upper, lower);
      factor(this.#matrix, n);

      const direction = (): void => {
        for (let row = 0; row < rows; row++) pull[row] = upper.pull(row) - lower.pull(row);
        for (let i = 0; i < n; i++) step[i] = -dual[i]!;
        spreadInto(pull, step, -1);
        solve(this.#matrix, n, step);
        this.#points(step, changed, true);
        evaluate(changed, changes, false);
        upper.direct(changes, 1);
        lower.direct(changes, -1);
      };
      // The predictor goes straight for the solution; how far it comes says how much to centre.
      upper.aim(0, false);
      lower.aim(0, false);
      direction();
      const predicted = Math.min(1, upper.room(), lower.room());
      const gapThen = (upper.gapAfter(predicted) + lower.gapAfter(predicted)) / (2 * rows);
      const centring = (gapThen / gap) ** 3;
      upper.aim(centring * gap, true);
      lower.aim(centring * gap, true);
      direction();
      const along = Math.min(1, 0.995 * Math.min(upper.room(), lower.room()));
      for (let i = 0; i < n; i++) x[i]! += along * step[i]!;
      this.#points(x, c);
      upper.go(along);
      lower.go(along);
    }
    return undefined;
  }

  /** The gradient of the sum of squares. */
  #gradient(x: Float64Array, into: Float64Array): void {
    const n = this.#n;
    const hessian = this.#hessian;
    for (let i = 0; i < n; i++) into[i] = -this.#linear[i]!;
    for (let i = 0; i < n; i++) {
      into[i]! += hessian[i * BAND]! * x[i]!;
      for (let k = 1; k < BAND && k <= i; k++) {
        const by = hessian[i * BAND + k]!;
        into[i]! += by * x[i - k]!;
        into[i - k]! += by * x[i]!;
      }
    }
  }

  #assemble(firsts: readonly number[], counts: readonly number[], upper: Side, lower: Side): void {
    this.#matrix.set(this.#hessian);
    let row = 0;
    for (const [f, { weights }] of this.#families.entries())
      for (let i = firsts[f]!; i < firsts[f]! + counts[f]!; i++, row++)
        this.#addSquare(this.#matrix, weights, i, upper.stiffness(row) + lower.stiffness(row));
  }
}

/** The upper or lower limits of all rows: slacks, multipliers, and where they go. */
class Side {
  readonly slack: Float64Array;
  readonly dual: Float64Array;
  readonly #slackStep: Float64Array;
  readonly #dualStep: Float64Array;
  /** How much is missing for row + slack = limit. */
  readonly #miss: Float64Array;
  readonly #aim: Float64Array;

  constructor(rows: number) {
    this.slack = new Float64Array(rows);
    this.dual = new Float64Array(rows);
    this.#slackStep = new Float64Array(rows);
    this.#dualStep = new Float64Array(rows);
    this.#miss = new Float64Array(rows);
    this.#aim = new Float64Array(rows);
  }

  begin(row: number, slack: number): void {
    this.slack[row] = Math.max(slack, 0.1);
    this.dual[row] = 0.1;
  }

  /** Notes by how much each row misses its limit with its slack; returns the most. */
  miss(values: Float64Array, sign: number): number {
    let most = 0;
    for (let row = 0; row < values.length; row++) {
      const miss = sign * values[row]! + this.slack[row]! - 1;
      this.#miss[row] = miss;
      most = Math.max(most, Math.abs(miss));
    }
    return most;
  }

  gap(): number {
    let sum = 0;
    for (let row = 0; row < this.slack.length; row++) sum += this.slack[row]! * this.dual[row]!;
    return sum;
  }

  gapAfter(along: number): number {
    let sum = 0;
    for (let row = 0; row < this.slack.length; row++)
      sum +=
        (this.slack[row]! + along * this.#slackStep[row]!) *
        (this.dual[row]! + along * this.#dualStep[row]!);
    return sum;
  }

  stiffness(row: number): number {
    return this.dual[row]! / this.slack[row]!;
  }

  /** What each product of slack and multiplier is to change by. */
  aim(product: number, corrected: boolean): void {
    for (let row = 0; row < this.slack.length; row++) {
      const second = corrected ? this.#slackStep[row]! * this.#dualStep[row]! : 0;
      this.#aim[row] = product - this.slack[row]! * this.dual[row]! - second;
    }
  }

  pull(row: number): number {
    return (this.#aim[row]! + this.dual[row]! * this.#miss[row]!) / this.slack[row]!;
  }

  direct(changes: Float64Array, sign: number): void {
    for (let row = 0; row < changes.length; row++) {
      const slackStep = -this.#miss[row]! - sign * changes[row]!;
      this.#slackStep[row] = slackStep;
      this.#dualStep[row] = (this.#aim[row]! - this.dual[row]! * slackStep) / this.slack[row]!;
    }
  }

  /** How far it can go before a slack or a multiplier is 0. */
  room(): number {
    let most = Number.POSITIVE_INFINITY;
    for (let row = 0; row < this.slack.length; row++) {
      if (this.#slackStep[row]! < 0)
        most = Math.min(most, -this.slack[row]! / this.#slackStep[row]!);
      if (this.#dualStep[row]! < 0) most = Math.min(most, -this.dual[row]! / this.#dualStep[row]!);
    }
    return most;
  }

  go(along: number): void {
    for (let row = 0; row < this.slack.length; row++) {
      this.slack[row]! += along * this.#slackStep[row]!;
      this.dual[row]! += along * this.#dualStep[row]!;
    }
  }
}

/**
 * Cholesky's factor of a symmetric matrix with `BAND` diagonals from the middle down, in its place: entry
 * (i, i - k) is at i BAND + k (G. Golub and C. Van Loan, "Matrix Computations", 4th edition, section 4.3;
 * from memory).
 */
function factor(matrix: Float64Array, n: number): void {
  for (let i = 0; i < n; i++) {
    const row = i * BAND;
    for (let k = Math.min(BAND - 1, i); k >= 0; k--) {
      const j = i - k;
      let sum = matrix[row + k]!;
      for (let m = k + 1; m < BAND && m <= i; m++)
        sum -= matrix[row + m]! * matrix[j * BAND + m - k]!;
      if (k > 0) matrix[row + k] = sum / matrix[j * BAND]!;
      else matrix[row] = Math.sqrt(sum);
    }
  }
}

/** Solves for one right side, in its place, with the factor. */
function solve(factored: Float64Array, n: number, x: Float64Array): void {
  for (let i = 0; i < n; i++) {
    let sum = x[i]!;
    for (let k = 1; k < BAND && k <= i; k++) sum -= factored[i * BAND + k]! * x[i - k]!;
    x[i] = sum / factored[i * BAND]!;
  }
  for (let i = n - 1; i >= 0; i--) {
    let sum = x[i]!;
    for (let k = 1; k < BAND && i + k < n; k++) sum -= factored[(i + k) * BAND + k]! * x[i + k]!;
    x[i] = sum / factored[i * BAND]!;
  }
}
