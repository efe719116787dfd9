import { stringify } from 'yaml';
import { parseProp } from '../../src/prop/load.ts';
import { type Prop, schemas } from '../../src/prop/schema.ts';
import { rehearse } from '../../src/rehearsal/rehearse.ts';
import { Planner } from '../../src/service/planner-answer.ts';
import type { PlannerQuestion } from '../../src/service/planner-question.ts';
import type { Row } from './table.ts';

const CUE_S = 600;
/** Every channel gets something new to do this often (s). */
const EVERY_S = 2;
const RUNS = 5;

const SERVOS = Array.from({ length: 12 }, (_, i) => `servo_${i}`);
const EYES = ['eye_0', 'eye_1', 'eye_2'];
const LAMPS = ['lamp_0', 'lamp_1'];
const RELAYS = ['relay_0', 'relay_1', 'relay_2'];
const COLOURS = ['#ff8000', '#2040ff', '#f0f0e0', '#106030'];

/** Twenty channels that move, fade or switch all the time, for so long (s). */
function show(cueS: number): Record<string, unknown> {
  let pin = 2;
  const each = (names: readonly string[], spec: (i: number) => object) =>
    Object.fromEntries(names.map((name, i) => [name, { rail: 'supply', ...spec(i) }]));
  const to = (names: readonly string[], value: (i: number) => unknown) =>
    Object.fromEntries(names.map((name, i) => [name, value(i)]));
  const steps = Array.from({ length: cueS / EVERY_S }, (_, round) => {
    const at = round * EVERY_S;
    const far = round % 2 === 0;
    return {
      at,
      move: to(SERVOS, (i) => (far ? 30 + i : -30 - i)),
      overS: 1.9,
      ease: 'ease-in-out',
      colour: to(EYES, (i) => COLOURS[(round + i) % COLOURS.length]),
      dim: to(LAMPS, () => (far ? 0.9 : 0.1)),
      fadeS: 1.9,
      switch: to(RELAYS, () => 'on'),
      forS: 1,
    };
  });
  return {
    sinew: 1,
    name: 'Rehearsal bench',
    boards: { main: { driver: 'sim' } },
    rails: { supply: { volts: 6, limitA: 20 } },
    channels: {
      ...each(SERVOS, () => ({
        kind: 'servo',
        output: { board: 'main', pin: pin++ },
        calibration: [
          [1000, -50],
          [2000, 50],
        ],
        speedDegS: 120,
        accelDegS2: 600,
        draw: { idleA: 0.02, movingA: 0.4, stallA: 1.2 },
        park: { to: 0 },
      })),
      ...each(EYES, () => ({
        kind: 'rgb',
        through: 'driver board',
        output: { board: 'main', pins: [pin++, pin++, pin++] },
        draw: { fullA: [0.02, 0.02, 0.02] },
      })),
      ...each(LAMPS, () => ({
        kind: 'lamp',
        through: 'driver board',
        output: { board: 'main', pin: pin++ },
        draw: { fullA: 0.1 },
      })),
      ...each(RELAYS, () => ({
        kind: 'relay',
        output: { board: 'main', pin: pin++ },
        draw: { onA: 0.3 },
      })),
    },
    cues: { show: steps },
  };
}

/** Time that a rehearsal takes, against the time that the cue takes. */
export async function rehearseRow(): Promise<Row> {
  const prop: Prop = schemas().propFile.parse(show(CUE_S));
  const took: number[] = [];
  for (let run = 0; run <= RUNS; run++) {
    const startedMs = performance.now();
    const { durationS, events } = await rehearse(prop, 'show');
    const ms = performance.now() - startedMs;
    if (events.length > 0 || durationS < CUE_S - EVERY_S)
      throw new Error(`the show did not run as meant: ${durationS} s, ${events[0]?.text}`);
    // The first run compiles.
    if (run > 0) took.push(ms / 1000);
  }
  return {
    measure: 'rehearse 10 min on 20 channels (s)',
    values: took,
    baselines: [CUE_S],
    baselineName: 'the cue itself',
    target: { ratio: 1 / 2000 },
  };
}

const DESK_S = 60;
/** What a desk may take to show an edit (ms). */
const DESK_MS = 300;

/**
 * Time until a desk knows what a minute of the same show does, with a step that was just edited: checked,
 * rehearsed, as curves and as the text of the answer.
 */
export async function editedRow(): Promise<Row> {
  const text = stringify(show(DESK_S));
  const { raw, prop } = parseProp(text, 'show.yaml');
  const steps = (raw as { cues: { show: Record<string, unknown>[] } }).cues.show;
  const planner = new Planner();
  const took: number[] = [];
  const alone: number[] = [];
  for (let run = 0; run <= 2 * RUNS; run++) {
    const edited = steps.map((step, i) => (i === run ? { ...step, overS: 1.8 } : step));
    const question = { about: 'cue-rehearsal', version: 'v', text, file: 'show.yaml' };
    const startedMs = performance.now();
    const answer = await planner.answer({
      ...question,
      cue: 'show',
      steps: edited,
    } as PlannerQuestion);
    const sent = JSON.stringify(answer);
    const ms = performance.now() - startedMs;
    const { result } = answer as { result: { ran: boolean; channels: object[] } };
    if (!result?.ran || result.channels.length !== 20 || sent.length < 1000)
      throw new Error(`the show was not rehearsed: ${sent.slice(0, 500)}`);
    const aloneMs = performance.now();
    await rehearse(prop!, 'show');
    // The first run reads the text, and compiles.
    if (run === 0) continue;
    took.push(ms);
    alone.push(performance.now() - aloneMs);
  }
  return {
    measure: 'rehearse an edited cue of 1 min on 20 channels, for a desk (ms)',
    values: took,
    baselines: alone,
    baselineName: 'the rehearsal alone',
    target: { value: DESK_MS },
  };
}
