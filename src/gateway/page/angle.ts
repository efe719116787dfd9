import { withMinus } from '../../shared/minus.ts';

/** An angle (deg) for people, with a true minus sign. */
export function angle(deg: number): string {
  const text = deg.toFixed(1);
  return `${text === '-0.0' ? '0.0' : withMinus(text)}°`;
}
