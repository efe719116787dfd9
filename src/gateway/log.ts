import type { LogLevel } from '../service/protocol.ts';

type Say = (values: object, text: string) => void;

/** What the gateway logs with: the values behind a line, then the line. */
export type Log = Record<LogLevel, Say>;

const LEVELS: readonly string[] = ['debug', 'info', 'warn', 'error'] satisfies LogLevel[];

/** Drops every line. */
export const silent: Log = { debug() {}, info() {}, warn() {}, error() {} };

/** A log that hands the lines of `level` and above to `write`; none where it is not a level. */
export function makeLog(
  level: string,
  write: (level: LogLevel, values: object, text: string) => void,
): Log {
  const least = LEVELS.indexOf(level);
  const say = (one: LogLevel): Say =>
    least < 0 || LEVELS.indexOf(one) < least
      ? () => {}
      : (values, text) => write(one, sendable(values), text);
  return { debug: say('debug'), info: say('info'), warn: say('warn'), error: say('error') };
}

/** Values that any thread can be sent: an error with what is written of it. */
function sendable(values: object): object {
  const entries = Object.entries(values).map(([name, value]) => [
    name,
    value instanceof Error
      ? { type: value.name, message: value.message, stack: value.stack }
      : typeof value === 'object' || typeof value === 'function'
        ? String(value)
        : value,
  ]);
  return Object.fromEntries(entries);
}
