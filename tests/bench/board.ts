import { rm } from 'node:fs/promises';
import { dirname } from 'node:path';
import { fileURLToPath } from 'node:url';
import { propFile, SlowBoard, TICK_MS } from '../board/board.ts';
import {
  ACTIVITIES,
  CAPTURE_MS,
  CAPTURES,
  type Captured,
  capture,
  type During,
  parkingBegins,
  relayStaysClosed,
  Stage,
  SUBJECTS,
  stopTakes,
} from '../board/stage.ts';
import { quantile, type Row } from './table.ts';

const file = (name: string) => fileURLToPath(new URL(name, import.meta.url));
const GAP = { value: 2 };
const TIMEOUT_MS = 500;
const RUNS = 3;
const TURNS = 1000;

/** All that a maker does with 60 servos, on a slow board and in its own time: see SlowBoard. */
export async function boardRows(): Promise<Row[]> {
  const subject = SUBJECTS.find(({ name }) => name === '60 servos')!;
  const bareGaps = await bareLoopGaps();
  const empty: number[] = [];
  for (let n = 0; n < RUNS; n++) empty.push((await SlowBoard.run(['-e', '0'])).tookMs);
  const parses = await bareParses(await subject.text());

  const rows: Row[] = [];
  const gap = (during: During, what: string) =>
    rows.push({
      measure: `slow board, longest gap between ticks, ${what} (ticks)`,
      values: [during.gapTicks],
      at: 1,
      baselines: bareGaps,
      baselineName: 'a bare loop on the same board',
      target: GAP,
      slower: 'same',
      note: said(during),
    });

  const stage = await Stage.start(subject);
  // The first start ever also reads and checks the file.
  const starts: number[] = [];
  while (starts.length < RUNS) {
    await stage.formKept();
    await stage.fresh();
    starts.push(stage.board.startMs);
  }
  rows.push({
    measure: 'slow board, start until it takes requests (ms)',
    values: starts,
    baselines: empty,
    baselineName: 'node -e 0 on the same board',
    target: { value: 1500 },
    slower: 'same',
  });
  await stage.settled();
  for (const [what, act] of Object.entries(ACTIVITIES))
    gap(await stage.during(() => act(stage)), what);
  for (const disk of ['300 ms each', 'hung'] as const)
    gap(
      await stage.during(() => ACTIVITIES.moves!(stage), { disk }),
      `moves with a disk that is ${disk === 'hung' ? 'hanging' : 'slow, 300 ms an operation'}`,
    );
  for (const kind of Object.keys(CAPTURES)) {
    const seen = await firstCapture(stage, kind);
    gap(seen, `capture, ${kind}`);
    rows.push({
      measure: `slow board, capture with a fast disk, ${kind} (ms)`,
      values: [Number.isFinite(seen.tookMs) ? seen.tookMs : seen.longestTurnMs],
      baselines: parses,
      baselineName: 'the YAML parser alone, once, on the same board',
      target: { value: CAPTURE_MS },
      slower: 'same',
      note: seen.refused && `no answer: ${seen.refused}; the time is that of the longest turn`,
    });
  }
  rows.push(...(await safetyRows(stage)));
  await stage.cleanUp();
  return rows;
}

/** What else there is to say of a measurement, or nothing. */
function said({ linked, conditions }: During): string | undefined {
  if (!linked) return 'the link was lost';
  const odd = conditions.filter((one) => !['live', 'waking', 'parked', 'parking'].includes(one));
  return odd.length > 0 ? `the prop was ${odd.join(', ')}` : undefined;
}

/** The first capture of a daemon; where what has to go before it fails, that is the measurement. */
async function firstCapture(stage: Stage, kind: string): Promise<Captured> {
  try {
    return await capture(stage, kind, { cold: true, most: CAPTURE_MS });
  } catch (error) {
    const seen = await capture(stage, 'mark', { cold: true });
    return { ...seen, tookMs: Number.POSITIVE_INFINITY, refused: (error as Error).message };
  }
}

async function safetyRows(stage: Stage): Promise<Row[]> {
  const usual: number[] = [];
  for (let n = 0; n < 5; n++) usual.push(await stopTakes(stage));
  const stops: number[] = [];
  for (const afterMs of [0, 20, 50, 100, 200]) stops.push(await stopTakes(stage, afterMs));
  const closed: number[] = [];
  for (let n = 0; n < 2; n++) closed.push((await relayStaysClosed(stage, true)).tookMs);
  const parks: number[] = [];
  for (let n = 0; n < RUNS; n++)
    parks.push(await parkingBegins(stage, false), await parkingBegins(stage, true));
  return [
    {
      measure: 'slow board, a stop during a capture, longest (ms)',
      values: stops,
      at: 1,
      baselines: [quantile(usual, 0.5)],
      baselineName: 'a stop otherwise',
      target: { value: quantile(usual, 0.5) + 2 * TICK_MS },
      slower: 'same',
    },
    {
      measure: 'slow board, a relay that is to close for 1 s during a capture, longest (ms)',
      values: closed,
      at: 1,
      baselines: [1000],
      baselineName: 'what was asked for',
      target: { value: 1030 },
      slower: 'same',
      note: 'seen in state frames, which come every 20 ms',
    },
    {
      measure: 'slow board, the holder is killed until parking begins, longest (ms)',
      values: parks,
      at: 1,
      baselines: [TIMEOUT_MS],
      baselineName: 'link.timeoutMs',
      target: { value: TIMEOUT_MS + 100 },
      slower: 'same',
    },
  ];
}

/** The longest gap between two turns of a loop that does nothing else (ticks), run by run. */
async function bareLoopGaps(): Promise<number[]> {
  const gaps: number[] = [];
  for (let n = 0; n < RUNS; n++) {
    const { stdout } = await SlowBoard.run([file('bare-loop.mjs'), String(TICK_MS), String(TURNS)]);
    gaps.push(1 + Math.max(...(JSON.parse(stdout) as number[])) / TICK_MS);
  }
  return gaps;
}

async function bareParses(text: string): Promise<number[]> {
  const prop = await propFile(text);
  const took: number[] = [];
  for (let n = 0; n < RUNS; n++)
    took.push(Number((await SlowBoard.run([file('bare-parse.mjs'), prop])).stdout));
  await rm(dirname(prop), { recursive: true });
  return took;
}
