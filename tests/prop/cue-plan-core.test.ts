import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { cueDurationS } from '../../src/prop/cue-plan.ts';
import { parseProp } from '../../src/prop/load.ts';
import { rehearse } from '../../src/rehearsal/rehearse.ts';

const TICK_S = 0.005;

/** Against the core itself, which computes every tick and knows nothing of the plan. */
describe.each(['owl.yaml', 'apple-hand.yaml', 'dusk-street.yaml', 'lidded-chest.yaml'])(
  'config/%s',
  (file) => {
    const text = readFileSync(new URL(`../../config/${file}`, import.meta.url), 'utf8');
    const prop = parseProp(text, file).prop!;

    test.each(Object.keys(prop.cues))(
      '%s takes no longer than planned',
      async (cue) => {
        const plannedS = cueDurationS(prop, cue);
        const { durationS, cutShort } = await rehearse(prop, cue);
        expect(cutShort).toBe(plannedS === null);
        // Each step may begin and end a tick late, and a pulse goes on after its step.
        if (plannedS !== null) expect(durationS).toBeLessThan(plannedS + 0.1 + 40 * TICK_S);
      },
      60_000,
    );
  },
);

test('without anything drawn at random or waited for, it takes as long as planned', async () => {
  const text = readFileSync(new URL('../../config/owl.yaml', import.meta.url), 'utf8');
  const prop = parseProp(text, 'owl.yaml').prop!;
  for (const cue of ['wake', 'blink', 'breath']) {
    const { durationS } = await rehearse(prop, cue);
    expect(Math.abs(durationS - cueDurationS(prop, cue)!)).toBeLessThan(5 * TICK_S);
  }
});
