import { type Prop, schemas } from '../../src/prop/schema.ts';
import { rehearse } from '../../src/rehearsal/rehearse.ts';
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

/** Twenty channels that move, fade or switch all the time, for ten minutes. */
function show(): Prop {
  let pin = 0;
  const each = (names: readonly string[], spec: (i: number) => object) =>
    Object.fromEntries(names.map((name, i) => [name, { rail: 'supply', ...spec(i) }]));
  const to = (names: readonly string[], value: (i: number) => unknown) =>
    Object.fromEntries(names.map((name, i) => [name, value(i)]));
  const steps = Array.from({ length: CUE_S / EVERY_S }, (_, round) => {
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
  return schemas().propFile.parse({
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
        output: { board: 'main', pins: [pin++, pin++, pin++] },
        draw: { fullA: [0.02, 0.02, 0.02] },
      })),
      ...each(LAMPS, () => ({
        kind: 'lamp',
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
  });
}

/** Time that a rehearsal takes, against the time that the cue takes. */
export async function rehearseRow(): Promise<Row> {
  const prop = show();
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
