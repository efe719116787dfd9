import { parentPort } from 'node:worker_threads';
import * as z from 'zod';
import { NICENESS, standBack } from '../shared/niceness.ts';
import { Planner } from './planner-answer.ts';
import type { PlannerQuestion } from './planner-question.ts';

/** Entry of the thread that checks texts, sums budgets and rehearses cues. */
if (!parentPort) throw new Error('this runs as a worker thread of the prop-file service');
const port = parentPort;

standBack(NICENESS.planner);

// A few texts are checked: compiled checks would not pay.
z.config({ jitless: true });
const planner = new Planner();
port.on('message', async (question: PlannerQuestion) =>
  port.postMessage(await planner.answer(question)),
);
