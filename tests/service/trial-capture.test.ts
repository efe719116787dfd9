import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { editProp, parseProp } from '../../src/prop/load.ts';
import { trialCapture } from '../../src/service/trial-capture.ts';
import { sixtyServos } from '../board/sixty.ts';

const example = (name: string) => readFileSync(`config/${name}.yaml`, 'utf8');

describe('a trial capture', () => {
  test.each([
    ['the owl', example('owl')],
    ['the chest', example('lidded-chest')],
    ['the hand', example('apple-hand')],
    ['60 servos', sixtyServos()],
  ])('of %s is one that could be written, and would change something', (_, text) => {
    const loaded = parseProp(text, 'config/f.yaml');
    const kinds = new Map<string, Set<unknown>>();
    for (let time = 60; time > 0; time--) {
      const edit = trialCapture(loaded.prop!, time)!;
      const next = editProp(loaded, [edit]);
      expect(next.findings.filter(({ severity }) => severity === 'error')).toEqual([]);
      expect(next).not.toBe(loaded);
      const [, channel, kind] = edit.path;
      kinds.set(String(kind), (kinds.get(String(kind)) ?? new Set()).add(channel));
    }
    expect([...kinds.keys()].sort()).toEqual(['limitsDeg', 'marks', 'park']);
    const servos = Object.values(loaded.prop!.channels).filter(({ kind }) => kind === 'servo');
    // Each kind of one servo after another.
    for (const channels of kinds.values())
      expect(channels.size).toBeGreaterThanOrEqual(Math.min(servos.length, 14));
  });

  test('is none where nothing moves', () => {
    const { prop } = parseProp(example('dusk-street'), 'config/f.yaml');
    expect(trialCapture(prop!, 1)).toBeUndefined();
  });
});
