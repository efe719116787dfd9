import { parentPort, workerData } from 'node:worker_threads';
import { showBeat } from '../shared/network-thread.ts';
import { NICENESS, standBack } from '../shared/niceness.ts';
import { PropStage } from './prop-stage.ts';
import type { FromStage, StageStart, ToStage } from './protocol.ts';

/** Entry of the thread of the show's page: whatever the broker does, no session of the gateway waits for it. */
if (!parentPort) throw new Error('the page of the show runs as a worker thread of sinewd');

standBack(NICENESS.show);

const gateway = parentPort;
const { show, beat } = workerData as StageStart;
const stage = new PropStage(show);

async function answer(id: number, given: Promise<FromStage['answer']>): Promise<void> {
  gateway.postMessage({ id, answer: await given } satisfies FromStage);
}

gateway.on('message', (message: ToStage) => {
  switch (message.t) {
    case 'read':
      void answer(message.id, stage.read());
      break;
    case 'carry-out':
      void answer(message.id, stage.carryOut(message.asked));
      break;
    case 'control':
      stage.control(message.has);
      break;
    case 'close':
      void stage.close().then(() => process.exit(0));
  }
});
showBeat(beat);
