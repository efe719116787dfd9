import { describe, expect, test } from 'vitest';
import { parseProp } from '../../src/prop/load.ts';
import { coreKind, Loom } from '../../src/prop/loom.ts';
import { shortEnds, sorted, splitEnd } from '../../src/prop/loom-words.ts';
import { boardPins } from '../../src/prop/pins.ts';
import { type Prop, schemas } from '../../src/prop/schema.ts';
import fc from '../fast-check.ts';
import { OWL, propText, servo } from './helpers.ts';

const owl = parseProp(OWL, 'owl.yaml').prop!;
const loom = new Loom(owl);

describe('the loom of the owl', () => {
  test('has every wire, by label and by channel', () => {
    expect(loom.wires).toHaveLength(Object.keys(owl.channels).length + owl.wires.length);
    expect(loom.byLabel.get('W07')).toMatchObject([{ channel: 'beak', own: true }]);
    expect(loom.byChannel.get('mist')!.map(({ label }) => label)).toEqual(['W16', 'W34', 'W35']);
  });

  test('has what is in every cavity', () => {
    const held = loom.connectors.get('TB1')!.get('2')!;
    expect(held).toMatchObject([{ side: 'from', other: 'SV3-2', core: { colour: 'RD' } }]);
    expect(loom.connectors.get('PS1')!.get('1')).toHaveLength(1);
  });

  test('a bar of a terminal block is one junction; wires and the fuse make one net', () => {
    expect(loom.junction('TB1-2')).toBe(loom.junction('TB1-5'));
    expect(loom.junction('TB1-2')).not.toBe(loom.junction('TB1-7'));
    expect(loom.junction('PS1-1')).not.toBe(loom.junction('TB1-2'));
    expect(loom.net('PS1-1')).toBe(loom.net('SV11-2'));
    expect(loom.net('PS1-2')).toBe(loom.net('SV11-3'));
    expect(loom.net('PS1-1')).not.toBe(loom.net('PS1-2'));
    expect(loom.net('PS1-1')).not.toBe(loom.net('PS2-1'));
    // The grounds of the header tie the returns of both rails together.
    expect(loom.net('PS1-2')).toBe(loom.net('PS2-2'));
    // The open contact of a relay conducts nothing.
    expect(loom.net('K1-COM')).not.toBe(loom.net('K1-NO'));
  });

  test('the way of the current, from the supply on', () => {
    const way = (rail: string, pole: 'plus' | 'return', end: string) =>
      loom.route(rail, pole, end)?.map((link) => {
        const what = link.kind === 'core' ? link.wire.label : 'fuse';
        return `${what} ${link.from} ${link.to}`;
      });
    expect(way('servo6v', 'plus', 'SV8-2')).toEqual([
      'W20 PS1-1 F1-1',
      'fuse F1-1 F1-2',
      'W21 F1-2 TB1-3',
      'W24 TB1-5 TB4-1',
      'W12 TB4-2 SV8-2',
    ]);
    expect(way('servo6v', 'plus', 'PS1-1')).toEqual([]);
    expect(way('servo6v', 'plus', 'M1-1')).toBeUndefined();
    expect(way('nothing', 'plus', 'SV8-2')).toBeUndefined();
  });

  // The 40-pin header of the Raspberry Pi (from memory): 12 is GPIO 18, 40 is GPIO 21, 6 is ground.
  test('the pins of the header', () => {
    expect(loom.boardPin('J1-12')).toEqual({ board: 'head', pin: 18 });
    expect(loom.boardPin('J1-6')).toEqual({ board: 'head', power: 'ground' });
    expect(loom.boardPin('J1-41')).toBeUndefined();
    expect(loom.boardPin('TB1-2')).toBeUndefined();
    expect(loom.endOfPin('head', 21)).toBe('J1-40');
  });
});

describe('J1 without a word about it', () => {
  const wire = (from: string) =>
    `{ label: A, cores: [{ role: signal, colour: YE, from: ${from}, to: S-1 }] }`;
  const read = (text: string) => new Loom(schemas().propFile.parse(parseProp(text, 'a.yaml').prop));
  const text = (boards: string, rest = '') =>
    propText(`a: ${servo(18, { wire: wire('J1-12') })}`, rest, boards);

  test('is the header where there is one', () => {
    expect(read(text('head: { driver: sim }')).boardPin('J1-12')).toMatchObject({ pin: 18 });
  });

  test('is nothing where there are two, or where the file says what it is', () => {
    const two = read(text('head: { driver: sim }\n  tail: { driver: sim }'));
    expect(two.boardPin('J1-12')).toBeUndefined();
    const split = read(text('head: { driver: sim }', 'connectors: { J1: {}, S: {} }'));
    expect(split.boardPin('J1-12')).toBeUndefined();
  });
});

test('what a core carries goes by its role', () => {
  const kinds = ['plus', 'Return', 'GND', 'signal', 'red'].map((role) =>
    coreKind({ role } as never),
  );
  expect(kinds).toEqual(['plus', 'return', 'return', 'signal', 'signal']);
});

test('words: ends, in short, and in the order of a person', () => {
  expect(splitEnd('TB1-2')).toEqual({ connector: 'TB1', cavity: '2' });
  expect(splitEnd('LUG')).toEqual({ connector: 'LUG', cavity: '' });
  expect(shortEnds(['J1-12', 'TB1-2', 'TB1-7', 'LUG'])).toBe('J1-12 TB1-2/7 LUG');
  expect(sorted(['W10', 'W2', 'W1'], (one) => one)).toEqual(['W1', 'W2', 'W10']);
});

test('the pins of a board: used, reserved and free', () => {
  const { driver, pins } = boardPins(owl, 'head');
  expect(driver).toBe('sim');
  expect(pins).toHaveLength(28);
  expect(pins[18]).toEqual({ pin: 18, use: 'beak' });
  expect(pins[6]).toEqual({ pin: 6, use: 'eye_left.green' });
  expect(pins[4]).toEqual({ pin: 4, use: 'stopInput' });
  expect(pins[2]).toEqual({ pin: 2, reserved: 'I2C' });
  expect(pins[9]).toEqual({ pin: 9 });
});

/** Which of `ends` a walk from the first reaches: breadth first over a plain list, as by hand. */
function reachable(start: string, pairs: readonly (readonly [string, string])[]): Set<string> {
  const reached = new Set([start]);
  for (let grown = true; grown; ) {
    grown = false;
    for (const [a, b] of pairs) {
      if (reached.has(a) === reached.has(b)) continue;
      reached.add(a).add(b);
      grown = true;
    }
  }
  return reached;
}

test('nets and routes agree with a plain walk over any loom', () => {
  const end = fc.tuple(fc.nat(5), fc.nat(3)).map(([c, n]) => `X${c}-${n + 1}`);
  const core = fc.record({
    role: fc.constantFrom('plus', 'return', 'signal'),
    colour: fc.constant('RD'),
    from: end,
    to: end,
  });
  const bridge = fc.uniqueArray(fc.integer({ min: 1, max: 4 }), { minLength: 2, maxLength: 3 });
  fc.assert(
    fc.property(
      fc.array(fc.array(core, { minLength: 1, maxLength: 3 }), { maxLength: 8 }),
      fc.array(fc.tuple(fc.nat(5), bridge), { maxLength: 4 }),
      fc.tuple(end, end, end, end),
      (wires, bridges, [plus, back, fuseFrom, fuseTo]) => {
        const connectors: Prop['connectors'] = {};
        const joined: [string, string][] = [[fuseFrom, fuseTo]];
        for (const [c, cavities] of bridges) {
          const name = `X${c}`;
          connectors[name] = { bridged: [...(connectors[name]?.bridged ?? []), cavities] };
          for (const other of cavities.slice(1))
            joined.push([`${name}-${cavities[0]}`, `${name}-${other}`]);
        }
        for (const cores of wires) for (const { from, to } of cores) joined.push([from, to]);
        const prop = schemas().propFile.parse({
          sinew: 1,
          name: 'any',
          boards: { b: { driver: 'sim' } },
          channels: {},
          rails: {
            r: {
              volts: 5,
              limitA: 1,
              supply: { plus, return: back },
              fuse: { ratingA: 1, from: fuseFrom, to: fuseTo },
            },
          },
          connectors,
          wires: wires.map((cores, i) => ({ label: `W${i}`, cores })),
        });
        const any = new Loom(prop);
        const reached = reachable(plus, joined);
        for (const [a, b] of joined) {
          expect(any.net(a) === any.net(plus)).toBe(reached.has(a));
          const route = any.route('r', 'plus', b);
          expect(route !== undefined).toBe(reached.has(b));
          if (!route || route.length === 0) continue;
          // Every link starts where the one before it ended.
          let at = any.junction(plus);
          for (const { from, to } of route) {
            expect(any.junction(from)).toBe(at);
            at = any.junction(to);
          }
          expect(at).toBe(any.junction(b));
        }
      },
    ),
    { numRuns: 300 },
  );
});
