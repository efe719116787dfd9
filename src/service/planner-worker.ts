import { setPriority } from 'node:os';
import { parentPort } from 'node:worker_threads';
import * as z from 'zod';
import { Planner } from './planner-answer.ts';
import type { PlannerQuestion } from './planner-question.ts';

/** Entry of the thread that checks texts, sums budgets and rehearses cues. */
if (!parentPort) throw new Error('this runs as a worker thread of the prop-file service');
const port = parentPort;

/** The core goes first where both want the same processor. */
const NICENESS = 10;
try {
  // On Linux 0 stands for this thread alone (setpriority(2), notes); elsewhere for the whole process.
  if (process.platform === 'linux') setPriority(0, NICENESS);
} catch {
  // The systemd unit forbids it; then the scheduler is fair to both.
}

// A few texts are checked: compiled checks would not pay.
z.config({ jitless: true });
const planner = new Planner();
port.on('message', async (question: PlannerQuestion) =>
  port.postMessage(await planner.answer(question)),
);
