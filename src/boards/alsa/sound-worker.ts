import { parentPort, workerData } from 'node:worker_threads';
import { SoundServer } from './sound-server.ts';
import { monotonicMs, type SoundCall, type SoundReply, type SoundWork } from './sound-work.ts';

/** Entry of the thread that decodes and plays sounds. */
if (!parentPort) throw new Error('this runs as a worker thread of the driver alsa');
const port = parentPort;

const reply = (message: SoundReply) => port.postMessage(message);
const server = new SoundServer(workerData as SoundWork, {
  nowMs: monotonicMs,
  news: (text) => reply({ t: 'news', text }),
});
port.on('message', (call: SoundCall) => {
  server.serve(call);
  if (call.t !== 'close') return;
  port.close();
});
