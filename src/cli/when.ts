import { InvalidArgumentError } from 'commander';

const WRONG =
  'Give a time: 14:32, yesterday, today, 2026-05-04, "2026-05-04 14:32", or how long ago: 30min, 2h, 3d.';

const CLOCK = /^(\d{1,2}):(\d{2})(?::(\d{2}))?$/;
const DATE = /^(\d{4}-\d{2}-\d{2})(?:[ T](\d{1,2}:\d{2}(?::\d{2})?))?$/;
const AGO = /^(\d+)(s|min|h|d)$/;
const UNIT_MS = { s: 1000, min: 60_000, h: 3_600_000, d: 86_400_000 } as const;

/**
 * A time as people say it, where this command runs: `14:32` (the last time that it was), `yesterday` (its
 * beginning), a date, or how long ago.
 * @returns ISO 8601, UTC
 */
export function whenText(text: string, now = new Date()): string {
  const then = whenOf(text, now);
  if (!then || Number.isNaN(then.getTime())) throw new InvalidArgumentError(WRONG);
  return then.toISOString();
}

/** A date, such as 2026-05-04. */
export function dateText(text: string): string {
  if (/^\d{4}-\d{2}-\d{2}$/.test(text) && dayOf(text)) return text;
  throw new InvalidArgumentError('Give a date, such as 2026-05-04.');
}

/** The beginning of a day, given as 2026-05-04; undefined where the month has no such day. */
function dayOf(text: string): Date | undefined {
  const [year, month, day] = text.split('-').map(Number);
  const date = new Date(year!, month! - 1, day!);
  return date.getMonth() === month! - 1 ? date : undefined;
}

function whenOf(text: string, now: Date): Date | undefined {
  const midnight = new Date(now.getFullYear(), now.getMonth(), now.getDate());
  if (text === 'now') return now;
  if (text === 'today') return midnight;
  if (text === 'yesterday') return daysFrom(midnight, -1);
  const ago = AGO.exec(text);
  if (ago)
    return new Date(now.getTime() - Number(ago[1]) * UNIT_MS[ago[2] as keyof typeof UNIT_MS]);
  const clock = withClock(midnight, text);
  // A time that is still to come today was yesterday's.
  if (clock) return clock > now ? daysFrom(clock, -1) : clock;
  const [, day, time] = DATE.exec(text) ?? [];
  if (day !== undefined) {
    const date = dayOf(day);
    return date && time !== undefined ? withClock(date, time) : date;
  }
  return /^\d{4}-\d{2}-\d{2}T.*(Z|[+-]\d{2}:\d{2})$/.test(text) ? new Date(text) : undefined;
}

/** The same time of the day, so many days on: a day need not have 24 hours. */
function daysFrom(date: Date, days: number): Date {
  const other = new Date(date);
  other.setDate(other.getDate() + days);
  return other;
}

function withClock(day: Date, text: string): Date | undefined {
  const [, hours, minutes, seconds = '0'] = CLOCK.exec(text) ?? [];
  if (Number(hours) > 23 || Number(minutes) > 59 || Number(seconds) > 59) return undefined;
  if (hours === undefined) return undefined;
  const then = new Date(day);
  then.setHours(Number(hours), Number(minutes), Number(seconds));
  return then;
}
