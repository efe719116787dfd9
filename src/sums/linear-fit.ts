/** What a linear fit has found. */
export interface LinearFit {
  /** Its value where all regressors are 0. */
  offset: number;
  slopes: number[];
  /** The standard deviation of each slope, from the weights, and what points lie beside the fit by. */
  deviations: number[];
  /** Points more than unknowns. */
  freedom: number;
}

/** A pivot that is smaller than this share of its column is 0: two regressors are the same. */
const LEAST_PIVOT = 1e-9;

/**
 * Linear regression by weighted least squares, y = offset + sum of slope x: normal equations about the weighted
 * means, solved by Gauss-Jordan elimination (any textbook, such as Draper and Smith, Applied Regression
 * Analysis, chapters 1 and 2, from memory). Where points lie further beside the fit than their weights say, the
 * deviations grow by that ratio (Birge 1932, from memory). Undefined with too few points, or where regressors
 * cannot be told apart.
 * @param points `x` one number for each regressor; `weight` 1 / variance of y
 */
export function fitLinear(
  points: readonly { x: ArrayLike<number>; y: number; weight: number }[],
  regressors: number,
): LinearFit | undefined {
  const freedom = points.length - regressors - 1;
  if (freedom < 1) return undefined;
  let sum = 0;
  let meanY = 0;
  const meanX = new Float64Array(regressors);
  for (const { x, y, weight } of points) {
    sum += weight;
    meanY += weight * y;
    for (let i = 0; i < regressors; i++) meanX[i]! += weight * x[i]!;
  }
  meanY /= sum;
  for (let i = 0; i < regressors; i++) meanX[i]! /= sum;
  const matrix = Array.from({ length: regressors }, () => new Float64Array(regressors));
  const right = new Float64Array(regressors);
  for (const { x, y, weight } of points)
    for (let i = 0; i < regressors; i++) {
      const dx = weight * (x[i]! - meanX[i]!);
      right[i]! += dx * (y - meanY);
      for (let k = 0; k < regressors; k++) matrix[i]![k]! += dx * (x[k]! - meanX[k]!);
    }
  const inverse = inverted(matrix);
  if (!inverse) return undefined;
  const slopes = inverse.map((row) => row.reduce((all, each, k) => all + each * right[k]!, 0));
  const offset = meanY - slopes.reduce((all, slope, i) => all + slope * meanX[i]!, 0);
  let squares = 0;
  for (const { x, y, weight } of points) {
    const left = y - offset - slopes.reduce((all, slope, i) => all + slope * x[i]!, 0);
    squares += weight * left * left;
  }
  const birge = Math.sqrt(Math.max(squares / freedom, 1));
  const deviations = inverse.map((row, i) => Math.sqrt(Math.max(row[i]!, 0)) * birge);
  return { offset, slopes, deviations, freedom };
}

/** The inverse of a symmetric matrix; undefined where it has none. */
function inverted(matrix: readonly Float64Array[]): number[][] | undefined {
  const size = matrix.length;
  const rows = matrix.map((row, i) => [
    ...row,
    ...Array.from({ length: size }, (_unused, k) => Number(i === k)),
  ]);
  for (let i = 0; i < size; i++) {
    const pivot = rows[i]![i]!;
    if (!(pivot > LEAST_PIVOT * matrix[i]![i]!) || !(pivot > 0)) return undefined;
    rows[i] = rows[i]!.map((each) => each / pivot);
    for (let k = 0; k < size; k++) {
      const factor = rows[k]![i]!;
      if (k !== i) rows[k] = rows[k]!.map((each, at) => each - factor * rows[i]![at]!);
    }
  }
  return rows.map((row) => row.slice(size));
}
