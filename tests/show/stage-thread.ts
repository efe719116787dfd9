import { Worker } from 'node:worker_threads';
import type { Show } from '../../src/prop/schema.ts';
import type { StageStart } from '../../src/showpage/protocol.ts';

export const SHOW: Show = {
  ...{ name: 'foyer', prop: 'owl', groups: [], broker: { url: 'mqtt://127.0.0.1' } },
  ...{ whenBrokerLost: 'finish', maxUncertaintyMs: 10, parkAfterS: 30 },
};

/** Answers for the thread of the show's page, without a broker; a target says what else it does. */
const LIVING = `
const { parentPort, workerData } = require('node:worker_threads');
const beats = new Int32Array(workerData.beat);
setInterval(() => Atomics.add(beats, 0, 1), 20);
const { name: show, prop } = workerData.show;
let control = false;
parentPort.on('message', ({ t, id, has, asked }) => {
  if (t === 'close') setTimeout(() => process.exit(0), 20);
  if (t === 'control') control = has;
  if (t === 'read') parentPort.postMessage({ id, answer: JSON.stringify({ show, prop, control }) });
  if (t !== 'carry-out') return;
  if (asked.target === 'die') throw new Error('on purpose');
  if (asked.target === 'hang') for (;;);
  if (asked.target === 'never') return;
  const answer = () => parentPort.postMessage({ id, answer: { ok: true, lines: [asked.act] } });
  setTimeout(answer, asked.target === 'late' ? 10500 : 0);
});
`;

export function stageThread(workerData: StageStart): Worker {
  return new Worker(LIVING, { eval: true, workerData });
}
