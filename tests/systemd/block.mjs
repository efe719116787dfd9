// Preloaded into both threads of a daemon under test: SIGUSR2 makes the one named by SINEW_TEST_BLOCK
// spin for ever, as an endless loop in it would.
import { BroadcastChannel, isMainThread } from 'node:worker_threads';

const channel = new BroadcastChannel('block');
channel.unref();
const spin = () => {
  for (;;);
};
if (isMainThread)
  process.on('SIGUSR2', () => {
    if (process.env.SINEW_TEST_BLOCK === 'core') spin();
    else channel.postMessage('now');
  });
else channel.onmessage = spin;
