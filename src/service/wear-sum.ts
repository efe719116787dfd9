import type { WearInfo } from '../api/types.ts';
import { tidy } from '../shared/units.ts';

/** What has worn the prop in all. */
export interface WearSum {
  /** All the way that its servos went (deg). */
  travelDeg: number;
  /** How long its channels were on, added up (h). */
  onH: number;
  /** Channels whose maintenance is due. */
  due: number;
}

/** Of the channels that the prop file has now. */
export function wearSum(channels: readonly WearInfo[]): WearSum {
  const sum = { travelDeg: 0, onS: 0, due: 0 };
  for (const { counts, due, gone } of channels) {
    if (gone !== undefined) continue;
    sum.travelDeg += counts.travelDeg;
    sum.onS += counts.onS;
    if (due) sum.due++;
  }
  return { travelDeg: tidy(sum.travelDeg, 0), onH: tidy(sum.onS / 3600, 1), due: sum.due };
}
