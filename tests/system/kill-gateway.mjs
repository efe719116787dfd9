// Preloaded into a daemon under test: SIGUSR2 kills the gateway's thread as a crash would.
import { createRequire, syncBuiltinESMExports } from 'node:module';

const threads = createRequire(import.meta.url)('node:worker_threads');
if (threads.isMainThread) {
  let newest;
  threads.Worker = class extends threads.Worker {
    constructor(...args) {
      super(...args);
      newest = this;
    }
  };
  syncBuiltinESMExports();
  process.on('SIGUSR2', () => newest.terminate());
}
