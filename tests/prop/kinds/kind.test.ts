import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { describe, expect, test } from 'vitest';
import { KIND_NAMES, lightOf } from '../../../src/prop/kinds/channel.ts';
import { kindOf } from '../../../src/prop/kinds/registry.ts';
import { parseProp } from '../../../src/prop/load.ts';
import { lamp, makeProp, Rig, relay, rgb, servo } from '../../core/rig.ts';
import { expectFindings, OWL, propText } from '../helpers.ts';

const owl = parseProp(OWL, 'owl.yaml').prop!;

describe('every kind', () => {
  test('has a channel in the example, with a pin, words and a fault to find', () => {
    const seen = new Set<string>();
    for (const [name, channel] of Object.entries(owl.channels)) {
      const kind = kindOf(channel);
      seen.add(channel.kind);
      expect(kind.outputs(channel).length, name).toBeGreaterThan(0);
      expect(kind.cores(channel), name).toContain('signal');
      expect(kind.faults.symptoms, name).toContain('dead');
      expect(kind.words.release(name), name).toContain(name);
      expect(kind.light === undefined, name).toBe(lightOf(channel) === undefined);
      expect(kind.usedAt(channel, channel.park.to), name).toBe(false);
    }
    // The owl has no voice, and a sound has no pin: sound.test.ts.
    expect([...seen, 'sound'].sort()).toEqual([...KIND_NAMES].sort());
  });

  test('draws as much by its pins as busy in all, and no less when stalled', () => {
    for (const [name, channel] of Object.entries(owl.channels)) {
      const { busyA, stallA, pinsA } = kindOf(channel).draw(channel);
      expect(
        pinsA.reduce((sum, amps) => sum + amps, 0),
        name,
      ).toBeCloseTo(busyA, 9);
      expect(stallA, name).toBeGreaterThanOrEqual(busyA);
    }
  });
});

// The core's estimate and the checks rest upon one definition.
test('at rest the core draws what the file says of each kind, and busy what it says of that', async () => {
  const rail = 'six';
  const prop = makeProp(
    {
      lid: servo({ rail, draw: { idleA: 0.1, movingA: 0.6, stallA: 0.5 }, park: { to: 0 } }),
      fan: relay({ rail, draw: { onA: 0.7 }, park: { to: 'on' } }),
      eye: rgb({
        rail,
        draw: { fullA: [0.4, 0.3, 0.2] },
        whiteBalance: [0.5, 1, 1],
        park: { to: 'orange' },
      }),
      glow: lamp({ rail, draw: { fullA: 0.8 }, park: { to: 0.5 } }),
    },
    { rails: { [rail]: { volts: 6, limitA: 10 } } },
  );
  const { rig, client } = await Rig.live(prop);
  const draws = Object.values(prop.channels).map((channel) => kindOf(channel).draw(channel));
  const sum = (key: 'idleA' | 'busyA') => draws.reduce((all, draw) => all + draw[key], 0);
  await client.call('channel.switch', { channel: 'fan', on: true });
  await client.call('channel.colour', { channel: 'eye', to: 'orange' });
  await client.call('channel.dim', { channel: 'glow', to: 0.5 });
  await rig.run(1000);
  expect(rig.amps(rail)).toBeCloseTo(sum('idleA'), 9);
  await client.call('channel.colour', { channel: 'eye', to: 'white' });
  await client.call('channel.dim', { channel: 'glow', to: 1 });
  await client.call('channel.move', { channel: 'lid', to: 40 });
  await rig.run(100);
  expect(rig.amps(rail)).toBeCloseTo(sum('busyA'), 9);
});

test('a light that parks lit counts while everything is parked', () => {
  expectFindings(
    propText(
      'glow: { kind: lamp, output: { board: head, pin: 9 }, through: n-mosfet, rail: five, draw: { fullA: 2 }, park: { to: 1 } }',
      'rails: { five: { volts: 5, limitA: »1 } }',
    ),
    [{ wrong: /draw 2 A when everything holds still/ }],
  );
});

// A new kind must not have to be looked for in every room of the house.
test('outside the kinds, and what drives boards, nobody compares the kind of a channel', () => {
  const src = fileURLToPath(new URL('../../../src/', import.meta.url));
  const asks = new RegExp(
    `kind (===|!==) '(${KIND_NAMES.join('|')})'|case '(${KIND_NAMES.join('|')})':`,
  );
  const asking = readdirSync(src, { recursive: true, encoding: 'utf8' })
    .filter((file) => file.endsWith('.ts') && !/^(prop\/kinds|drivers|boards|doctor)\//.test(file))
    .filter((file) => asks.test(readFileSync(join(src, file), 'utf8')));
  expect(asking).toEqual([]);
});
