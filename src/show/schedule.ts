import type { Day, ScheduleEntry } from './show-file.ts';

/** Days of the week, as `Date` counts them. */
const DAYS: readonly Day[] = ['sun', 'mon', 'tue', 'wed', 'thu', 'fri', 'sat'];

function minutesOf(time: string): number {
  const [hours, minutes] = time.split(':').map(Number) as [number, number];
  return 60 * hours + minutes;
}

/**
 * The next start after `afterMs` (wall clock, ms), in local time; undefined where there is none. A time of
 * day that a clock change leaves out counts by its minutes after midnight, as `Date` takes it.
 */
export function nextStart(schedule: readonly ScheduleEntry[], afterMs: number): number | undefined {
  const after = new Date(afterMs);
  const starts: number[] = [];
  // A week ahead, and the rest of today.
  for (let ahead = 0; ahead <= 7; ahead++) {
    const day = new Date(after.getFullYear(), after.getMonth(), after.getDate() + ahead);
    for (const { daily, days, everyMin, until } of schedule) {
      if (days && !days.includes(DAYS[day.getDay()]!)) continue;
      const first = minutesOf(daily);
      const last = until === undefined ? first : minutesOf(until);
      for (let minute = first; minute <= last; minute += everyMin ?? 1440) {
        const at = new Date(day.getFullYear(), day.getMonth(), day.getDate(), 0, minute).getTime();
        if (at > afterMs) starts.push(at);
      }
    }
    if (starts.length > 0) return Math.min(...starts);
  }
  return undefined;
}
