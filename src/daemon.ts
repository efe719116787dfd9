import { readOptions, USAGE, Usage } from './startup/options.ts';
import { version } from './version.ts';

/** Exit code of wrong usage. */
const EXIT_USAGE = 2;

async function run(): Promise<void> {
  try {
    const options = readOptions(process.argv.slice(2));
    if (options === 'help') process.stdout.write(USAGE);
    else if (options === 'version') {
      process.stdout.write(`sinewd ${version()}\n`);
    } else if (options.prepare) {
      const { prepare } = await import('./startup/prepare.ts');
      process.exitCode = await prepare(options);
    } else {
      // Before anything else: the threads take as long to load as the rest does.
      const { startThreads } = await import('./startup/threads.ts');
      const threads = startThreads(options);
      const { sinewd } = await import('./startup/sinewd.ts');
      await sinewd(options, threads, version());
    }
  } catch (error) {
    if (!(error instanceof Usage)) throw error;
    process.stderr.write(`sinewd: ${error.message}\n\n${USAGE}`);
    process.exit(EXIT_USAGE);
  }
}

void run();
