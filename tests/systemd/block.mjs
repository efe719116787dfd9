// Preloaded into all threads of a daemon under test: SIGUSR2 makes the one named by SINEW_TEST_BLOCK
// spin for ever, as an endless loop in it would.
import { BroadcastChannel, isMainThread, workerData } from 'node:worker_threads';

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
// The gateway's thread is started without data, the others with some.
else if (!workerData) channel.onmessage = spin;
