import pino, { type Logger } from 'pino';

/**
 * A log on standard error: readable lines for people, JSON for the journal. Standard output is left to
 * what a program has to say.
 */
export async function makeLog(name: string, level: string, forPeople: boolean): Promise<Logger> {
  const options = { name, level };
  if (!forPeople) return pino(options, pino.destination({ dest: 2, sync: false }));
  // Loaded only where it is wanted: a board that starts under systemd has no use for it.
  const { default: pretty } = await import('pino-pretty');
  return pino(
    options,
    pretty({ sync: true, destination: 2, singleLine: true, ignore: 'pid,hostname' }),
  );
}
