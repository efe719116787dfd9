import type { WearInfo } from '../../api/types.ts';
import { tidy } from '../../shared/units.ts';

/** The channels that are in the prop file: what is due first, then what is nearest to it, then by name. */
export function wornInOrder(channels: readonly WearInfo[]): WearInfo[] {
  const share = ({ maintain = [] }: WearInfo) =>
    Math.max(0, ...maintain.map(({ count, limit }) => count / limit));
  return channels
    .filter(({ gone }) => gone === undefined)
    .toSorted((a, b) => share(b) - share(a) || a.name.localeCompare(b.name));
}

/** What wore it, in one line: `12 cycles, 700 deg, 1.5 h`. */
export function wornText({ counts }: WearInfo): string {
  const { cycles, travelDeg, closures, onS, pushingS } = counts;
  const parts: [value: number, one: string, more: string][] = [
    [Math.round(cycles), 'cycle', 'cycles'],
    [Math.round(travelDeg), 'deg', 'deg'],
    [closures, 'closure', 'closures'],
    [tidy(onS / 3600, 1), 'h', 'h'],
    [Math.round(pushingS), 's of pushing', 's of pushing'],
  ];
  const told = parts
    .filter(([value]) => value > 0)
    .map(([value, one, more]) => `${value} ${value === 1 ? one : more}`);
  return told.length > 0 ? told.join(', ') : 'nothing yet';
}
