/** Rounds to `digits` decimals so that a message reads `12.5`, never `12.500000000000002`. */
export function tidy(value: number, digits = 3): number {
  const scale = 10 ** digits;
  const rounded = Math.round(value * scale) / scale;
  return Number.isFinite(rounded) ? rounded : value;
}

/** Limits `value` to the closed interval [`low`, `high`]. */
export function clamp(value: number, low: number, high: number): number {
  return Math.min(Math.max(value, low), high);
}
