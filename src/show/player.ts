import { type Conductor, type Reply, stepId } from './conductor.ts';
import { askedOf, holds, type ShowFile, type ShowStep } from './show-file.ts';

/** Waiting for the answers of one step (ms). */
const ANSWER_MS = 3000;

/** What happened in a run. */
export interface PlayedStep {
  step: number;
  act: 'go' | 'end' | 'park';
  /** Its condition did not hold, or the broker was away. */
  leftOut?: 'condition' | 'broker';
  replies: Reply[];
}

interface Timer {
  /** Waits until a time of the conductor's clock (ms); false where the run is to end. */
  sleepUntil(ms: number): Promise<boolean>;
}

/** When each step is sent: a go ahead of its time (s from the start, may be negative). */
export function sendS({ leadS }: Pick<ShowFile, 'leadS'>, { at, go }: ShowStep): number {
  return go ? at - leadS : at;
}

/**
 * Plays the timeline once. Every command has an id that depends on `run` alone, so that the same run played
 * again starts nothing twice. What is due while the broker is away is left out, not made up for.
 * @param startMs when it starts, on the conductor's clock; `leadS` ahead at least
 * @param run name of this run
 */
export async function playShow(
  show: ShowFile,
  conductor: Conductor,
  { startMs, run, timer }: { startMs: number; run: string; timer: Timer },
  played: (step: PlayedStep) => void,
): Promise<void> {
  const order = [...show.timeline.entries()].sort(
    ([, a], [, b]) => sendS(show, a) - sendS(show, b),
  );
  const answered: Promise<void>[] = [];
  for (const [index, step] of order) {
    if (!(await timer.sleepUntil(startMs + 1000 * sendS(show, step)))) break;
    const act = step.go ? 'go' : step.end ? 'end' : 'park';
    if (!(step.only ?? []).every((one) => holds(conductor.present(one.prop), one))) {
      played({ step: index, act, leftOut: 'condition', replies: [] });
      if (step.otherwise === 'end') break;
      continue;
    }
    answered.push(send(show, conductor, index, startMs + 1000 * step.at, run, act).then(played));
  }
  await Promise.all(answered);
}

async function send(
  show: ShowFile,
  conductor: Conductor,
  index: number,
  atMs: number,
  run: string,
  act: PlayedStep['act'],
): Promise<PlayedStep> {
  const asked = askedOf(show, show.timeline[index]!);
  const replies = await Promise.all(
    asked.map(async ({ prop, cue }) => {
      const wish = act === 'go' ? { act, cue: cue!, atMs } : { act };
      const idOf = () => stepId(conductor.show, run, index, prop);
      const [reply] = await conductor.ask(wish, [prop], ANSWER_MS, { idOf });
      return reply!;
    }),
  );
  const unsent = replies.length > 0 && replies.every(({ outcome }) => outcome === 'unsent');
  return { step: index, act, ...(unsent && { leftOut: 'broker' as const }), replies };
}
