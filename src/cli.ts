import { readFileSync } from 'node:fs';
import { main } from './cli/main.ts';
import { systemClock } from './shared/clock.ts';

// A reader that has seen enough (`sinew watch | head`) is not a failure.
process.stdout.on('error', (error: NodeJS.ErrnoException) => {
  if (error.code !== 'EPIPE') throw error;
  process.exit(0);
});

const { version } = JSON.parse(
  readFileSync(new URL('../package.json', import.meta.url), 'utf8'),
) as { version: string };

const ended = main(
  process.argv.slice(2),
  {
    stdin: process.stdin,
    stdout: process.stdout,
    stderr: process.stderr,
    env: process.env,
    clock: systemClock,
    onInterrupt(handler) {
      process.on('SIGINT', handler);
      return () => process.off('SIGINT', handler);
    },
  },
  version,
);
void ended.then((code) => {
  process.exitCode = code;
});
