import pino, { type Logger } from 'pino';
import { plain } from '../shared/plain.ts';
import { type Outlet, outletOf } from './outlet.ts';
import type { LogLevel } from './protocol.ts';

/** Where the log of all threads and the lines for people end up; writing never waits. */
export interface LogSink {
  /** @param timeMs when it was said (ms since the epoch); now, if not given */
  log(level: LogLevel, name: string, values: object, text: string, timeMs?: number): void;
  /** A line for standard output. */
  print(text: string): void;
  /** Lines for standard error as they are. */
  complain(lines: readonly string[]): void;
  /** Resolves when everything is written, or after a moment: nobody may ever read it. */
  flush(): Promise<void>;
}

/** How long ending waits for a log that nobody reads (ms). */
const FLUSH_MS = 300;

/** Readable lines for people, JSON for the journal, on standard error. */
export async function makeLogSink(level: string, forPeople: boolean): Promise<LogSink> {
  // Loaded only where it is wanted: a board that starts under systemd has no use for it.
  const pretty = forPeople
    ? (await import('pino-pretty')).prettyFactory({ singleLine: true, ignore: 'pid,hostname' })
    : undefined;
  const show = (line: string) => (pretty ? pretty(line) : line);
  const missing = (lines: number) => {
    const msg = `${lines} lines of the log are lost: they were not read in time`;
    return show(`${JSON.stringify({ level: 40, time: Date.now(), name: 'sinewd', msg })}\n`);
  };
  const err: Outlet = outletOf(2, missing);
  const out: Outlet = outletOf(1, missing);
  const loggers = new Map<string, Logger>();
  let saidMs = 0;
  const timestamp = () => `,"time":${saidMs}`;
  return {
    log(at, name, values, text, timeMs = Date.now()) {
      let logger = loggers.get(name);
      if (!logger) {
        logger = pino(
          { name, level, timestamp },
          { write: (line: string) => err.write(show(line)) },
        );
        loggers.set(name, logger);
      }
      saidMs = timeMs;
      logger[at](values, plain(text));
    },
    print: (text) => out.write(`${plain(text)}\n`),
    complain: (lines) => {
      for (const line of lines) err.write(`${plain(line)}\n`);
    },
    async flush() {
      await Promise.all([out.flush(FLUSH_MS), err.flush(FLUSH_MS)]);
    },
  };
}
