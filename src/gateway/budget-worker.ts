import { setPriority } from 'node:os';
import { parentPort, workerData } from 'node:worker_threads';
import { type BudgetQuestion, BudgetReckoner } from './budget-answer.ts';

/** Entry of the thread that reckons budgets. */
if (!parentPort) throw new Error('this runs as a worker thread of the gateway');
const port = parentPort;

/** The core goes first where both want the same processor. */
const NICENESS = 10;
try {
  // On Linux 0 stands for this thread alone (setpriority(2), notes); elsewhere for the whole process.
  if (process.platform === 'linux') setPriority(0, NICENESS);
} catch {
  // The systemd unit forbids it; then the scheduler is fair to both.
}

const reckoner = new BudgetReckoner(workerData as string);
let last = Promise.resolve();
port.on('message', (question: BudgetQuestion) => {
  // One after the other: they are answered in the order in which they were asked.
  last = last.then(async () => port.postMessage(await reckoner.answer(question)));
});
