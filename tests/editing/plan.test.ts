import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import type { Change } from '../../src/editing/change.ts';
import { planChange } from '../../src/editing/plan.ts';
import { referencesIn } from '../../src/editing/references.ts';
import { sensePlaces } from '../../src/editing/sense-places.ts';
import { pinUses } from '../../src/prop/lint-outputs.ts';
import { type Loaded, parseProp } from '../../src/prop/load.ts';
import { NAME } from '../../src/prop/name.ts';
import { senseRange } from '../../src/prop/senses.ts';
import { OWL, propText, servo } from '../prop/helpers.ts';

const owl = parseProp(OWL, 'owl.yaml');
const prop = (text: string): Loaded => {
  const loaded = parseProp(text, 'test.yaml');
  expect(loaded.prop, loaded.findings.map(({ wrong }) => wrong).join()).toBeDefined();
  return loaded;
};
/** The lines that differ. */
function lines(before: Loaded, change: Change): string[] {
  const was = before.text.split('\n');
  const is = planChange(before, change).after.text.split('\n');
  expect(is).toHaveLength(was.length);
  return is.filter((line, i) => line !== was[i]).map((line) => line.trim());
}
const refused = (loaded: Loaded, change: Change) => {
  try {
    planChange(loaded, change);
  } catch (error) {
    return (error as Error).message;
  }
  throw new Error('it was not refused');
};

describe('references', () => {
  test('cover every place where the schema asks for a name', () => {
    interface Schema {
      pattern?: string;
      [key: string]: unknown;
    }
    const schema = JSON.parse(
      readFileSync(new URL('../../config/prop.schema.json', import.meta.url), 'utf8'),
    ) as Schema;
    const found = new Set<string>();
    const walk = (node: unknown, path: string) => {
      if (Array.isArray(node)) for (const one of node) walk(one, path);
      else if (typeof node === 'object' && node !== null) {
        if ((node as Schema).pattern === NAME.source) found.add(path);
        for (const [key, value] of Object.entries(node)) {
          const next = {
            properties: '',
            anyOf: '',
            oneOf: '',
            items: '[]',
            propertyNames: '.KEY',
            additionalProperties: '.*',
          }[key];
          walk(value, next === undefined ? `${path}.${key}` : `${path}${next}`);
        }
      }
    };
    walk(schema, '');
    // Names that stand for themselves, and names of other things: boards, cues, takes, steps, connectors, sounds, props.
    const others =
      /board$|cue$|choose\[\]$|^\.(boards|connectors|cues|idle|triggers|guards|senses|sounds|takes)\.KEY$|sound\.\*$|\.take$|\.name$|\.after$|^\.show\./;
    const own = /^\.(channels|rails|groups|poses)\.KEY$|^\.channels\.\*\.marks\.KEY$/;
    const step = (at: string) => [`.cues.*${at}`, `.cues.*.steps${at}`];
    expect([...found].filter((path) => !others.test(path) && !own.test(path)).sort()).toEqual(
      [
        '.boards.*.plant.KEY',
        '.channels.*.rail',
        '.channels.*.contact.rail',
        '.channels.*.requires[].channel',
        '.channels.*.requires[].above',
        '.channels.*.requires[].below',
        '.channels.*.load.arm.carries',
        '.senses.*.channel',
        '.senses.*.rail',
        '.channels.*.park.to',
        '.wires[].rail',
        '.wires[].channel',
        '.groups.*[]',
        '.poses.*.KEY',
        ...step('[].move.KEY'),
        ...step('[].move.*'),
        ...step('[].colour.KEY'),
        ...step('[].dim.KEY'),
        ...step('[].switch.KEY'),
        ...step('[].sound.KEY'),
        '.osc.perform.*.channel',
        '.osc.perform.*.from',
        '.osc.perform.*.to',
        '.e131.map.KEY',
        '.e131.map.*.from',
        '.e131.map.*.to',
        '.sounds.*.follow.KEY',
        '.sounds.*.follow.*.shut',
        '.sounds.*.follow.*.open',
        ...step('[].pose'),
        ...step('[].until.channel'),
        '.park.stages[][]',
        '.picture.places.KEY',
      ].sort(),
    );
    // Each of them is found in a file that has them all.
    const crane = parseProp(
      readFileSync(new URL('./crane.yaml', import.meta.url), 'utf8'),
      'crane',
    );
    const roles = new Set(referencesIn(crane.raw).map(({ role, what }) => `${role} ${what}`));
    expect([...roles].sort()).toEqual(
      [
        'plant channel',
        'rail rail',
        'requires channel',
        'requires mark',
        'carries channel',
        'park mark',
        'member channel',
        'member group',
        'pose channel',
        'pose mark',
        'step channel',
        'step group',
        'step mark',
        'step pose',
        'until channel',
        'stage channel',
        'stage group',
        'picture channel',
        'led channel',
        'led mark',
      ].sort(),
    );
  });
});

describe('rename', () => {
  test('a channel is followed through groups, poses, cues, interlocks, stages and connectors', () => {
    expect(lines(owl, { do: 'rename', what: 'channel', name: 'tail_1', to: 'feather' })).toEqual([
      'feather:',
      'requires: [{ channel: feather, above: 20 }] # the nozzle is behind the tail',
      'tail: [feather, tail_2, tail_3, tail_4]',
      'alert: { head_turn: ahead, lid_left: open, lid_right: open, beak: shut, feather: half, tail_4: half }',
      'feather: [0.333, 0.809]',
    ]);
    expect(lines(owl, { do: 'rename', what: 'channel', name: 'head_turn', to: 'neck' })).toContain(
      'SV1: { name: neck, cavities: 3 }',
    );
  });

  test('a servo of a take keeps its name until the file of the take has the new one', () => {
    const text = owl.text.replace('\ncues:\n', '\ntakes: { nod: nod.take }\ncues:\n');
    const called = (name: string) =>
      parseProp(text, 'owl.yaml', () => ({ take: { servos: [{ name, timesS: [0], deg: [0] }] } }));
    const change: Change = { do: 'rename', what: 'channel', name: 'beak', to: 'bill' };
    expect(refused(called('beak'), change)).toBe(
      'take nod moves beak: write "servo bill" in place of "servo beak" in nod.take, then rename it here',
    );
    expect(() => planChange(called('bill'), change)).not.toThrow();
  });

  test('a mark that a group shares is renamed in all of its servos, or not at all', () => {
    expect(
      refused(owl, { do: 'rename', what: 'mark', name: 'open', to: 'up', channels: ['lid_left'] }),
    ).toBe(
      'cue blink, step 2 moves lid_left and lid_right together to open; rename the mark in lid_right as well',
    );
  });

  test.each<[string, Change, RegExp]>([
    [
      'a name that is taken',
      { do: 'rename', what: 'channel', name: 'beak', to: 'tail' },
      /it is taken/,
    ],
    ['no name', { do: 'rename', what: 'channel', name: 'beak', to: 'a b' }, /use a letter, then/],
    ['a slip', { do: 'rename', what: 'channel', name: 'baek', to: 'nib' }, /did you mean beak\?/],
    [
      'a label that is taken',
      { do: 'rename', what: 'wire', name: 'W20', to: 'W21' },
      /has the label W21/,
    ],
  ])('is refused: %s', (_, change, why) => {
    expect(refused(owl, change)).toMatch(why);
  });

  test('what an alias shares is named with its line', () => {
    const shared = prop(
      propText(`a: ${servo(17, { marks: '&m { shut: 0 }', park: '{ to: shut }' })}
  b: ${servo(18, { marks: '*m', park: '{ to: shut }' })}`),
    );
    expect(
      refused(shared, { do: 'rename', what: 'mark', name: 'shut', to: 'in', channels: ['a'] }),
    ).toMatch(
      /^line 6: channels\.a\.marks\.shut is shared: \*m \(anchor &m at line 6\) is used by channels\.b\.marks at line 7/,
    );
  });

  test('two names are swapped by way of a third', () => {
    let loaded = owl;
    for (const [name, to] of [
      ['mist', 'spare'],
      ['fan', 'mist'],
      ['spare', 'fan'],
    ] as const)
      loaded = planChange(loaded, { do: 'rename', what: 'channel', name, to }).after;
    expect(loaded.findings).toEqual([]);
    expect(loaded.prop!.channels.fan).toEqual(owl.prop!.channels.mist);
    expect(loaded.text.length).toBe(OWL.length);
  });
});

describe('remove', () => {
  test('an interlock that protects something never goes silently', () => {
    expect(refused(owl, { do: 'remove', what: 'channel', name: 'tail_1' })).toBe(
      'tail_1 is needed by the interlock of mist, which protects what stands there; change or remove that interlock first',
    );
    const { cautions } = planChange(owl, { do: 'remove', what: 'channel', name: 'mist' });
    expect(cautions[0]).toMatch(/^The interlock of mist goes with it: it needs tail_1\./);
  });

  test('what goes with a channel is listed, and nothing else goes', () => {
    const { touches, after } = planChange(owl, { do: 'remove', what: 'channel', name: 'mist' });
    expect(touches).toEqual([
      'cue wake, step 4',
      'wire W34',
      'wire W35',
      'the picture',
      'park stage 1',
      'wire W16',
    ]);
    const was = owl.prop!;
    const is = after.prop!;
    expect(is.cues.wake).toEqual((was.cues.wake as unknown[]).slice(0, 3));
    expect(is.park.stages[0]).toEqual(['fan']);
    expect(
      was.wires
        .filter((one) => !is.wires.some(({ label }) => label === one.label))
        .map(({ label }) => label),
    ).toEqual(['W34', 'W35']);
    expect(after.text).toContain('# what the relays switch');
  });

  test('a step that another one comes after, and a cue that would be empty, refuse it', () => {
    expect(refused(owl, { do: 'remove', what: 'channel', name: 'lantern' })).toMatch(
      /^cue breath, step 1 does nothing without lantern, and step 2 comes after it/,
    );
    const alone = prop(
      propText(`a: ${servo(17)}\n  b: ${servo(18)}`, 'cues: { go: [{ at: 0, move: { a: 1 } }] }\n'),
    );
    expect(refused(alone, { do: 'remove', what: 'channel', name: 'a' })).toMatch(
      /^cue go does nothing without a/,
    );
  });

  test('a group’s channels and a mark’s angle stand in its place', () => {
    const change = { do: 'remove', what: 'group', name: 'tail' } as const;
    const { after } = planChange(owl, change);
    expect((after.prop!.cues.wake as { move?: object }[])[2]!.move).toEqual({
      tail_1: 'open',
      tail_2: 'open',
      tail_3: 'open',
      tail_4: 'open',
    });
    const shut = planChange(owl, {
      do: 'remove',
      what: 'mark',
      name: 'shut',
      channels: ['beak'],
    }).after;
    expect(shut.prop!.channels.beak!.park.to).toBe(0);
    expect(shut.prop!.poses.asleep).toEqual({ lid_left: 'shut', lid_right: 'shut', beak: 0 });
  });

  test('the last of its section takes the section along', () => {
    const one = prop(
      propText(
        `a: ${servo(17, { marks: '{ in: 0 }' })}`,
        'groups: { all: [a] } # these\nposes: { p: { a: in } }\n',
      ),
    );
    expect(
      planChange(one, { do: 'remove', what: 'group', name: 'all' }).after.prop!.groups,
    ).toEqual({});
    expect(planChange(one, { do: 'remove', what: 'pose', name: 'p' }).after.prop!.poses).toEqual(
      {},
    );
    const bare = planChange(one, { do: 'remove', what: 'mark', name: 'in', channels: ['a'] }).after;
    expect(bare.prop!.poses.p).toEqual({ a: 0 });
    expect(refused(one, { do: 'remove', what: 'channel', name: 'a' })).toMatch(/the only channel/);
  });
});

describe('what measures', () => {
  const six = (more = '') =>
    prop(
      `${propText(`a: ${servo(4, { rail: 'six' })}`)}
rails: { six: { volts: 6, limitA: 5 }, pack: { volts: 7.4, limitA: 5, battery: { capacityAh: 2, fullV: 8.4 } } }
${more}`,
    );
  const added = (loaded: Loaded, change: Change) => planChange(loaded, change).after;

  test('a meter gets a free address, its part and a caution; the check has nothing to say', () => {
    const change: Change = { do: 'add', what: 'board', name: 'meter', part: 'ina226-r010' };
    const { after, cautions, findings } = planChange(six(), change);
    const one = { driver: 'ina226', part: 'ina226-r010', bus: 1, address: 0x45 };
    expect(after.prop!.boards.meter).toMatchObject(one);
    expect(cautions.join()).toContain('every supply unplugged');
    expect(findings).toEqual([]);
    const second = added(after, { ...change, name: 'other' });
    expect(second.prop!.boards.other).toMatchObject({ address: 0x44 });
    expect(refused(after, { ...change, name: 'meter' })).toContain('is taken');
    expect(refused(after, { ...change, name: 'x', part: 'servo-9g' })).toContain(
      'pca9685, ina226-r100, ina226-r010, ina226-r002, ina219-r100, ads1115',
    );
  });

  test('a board with outputs keeps clear of the others on its bus, and can carry a servo', () => {
    const board = { do: 'add', what: 'board', part: 'pca9685' } as const;
    const one = planChange(six(), { ...board, name: 'arms' });
    expect(one.after.prop!.boards.arms).toMatchObject({ address: 0x40, bus: 1, frequencyHz: 50 });
    expect(one.cautions.join()).toContain('output-enable pin');
    const two = added(one.after, { ...board, name: 'legs' });
    expect(two.prop!.boards.legs).toMatchObject({ address: 0x41 });
    expect(refused(two, { ...board, name: 'x', address: 0x41 })).toContain('is board legs already');
    const servo = { do: 'add', what: 'channel', name: 'b', kind: 'servo', board: 'legs' } as const;
    expect(added(two, servo).prop!.channels.b).toMatchObject({ output: { board: 'legs', pin: 0 } });
  });

  test('the voltage of a pack at a converter of 3.3 V gets a divider that is safe at 5 %', () => {
    const adc = added(six(), { do: 'add', what: 'board', name: 'adc', part: 'ads1115' });
    const sense = { do: 'add', what: 'sense', kind: 'volts', board: 'adc' } as const;
    const limits = { warnBelow: 6.6, parkBelow: 6.2 };
    const plan = planChange(adc, { ...sense, name: 'pack', rail: 'pack', limits });
    const entry = plan.after.prop!.senses.pack!;
    expect(entry).toMatchObject({ kind: 'volts', board: 'adc', input: 0, rail: 'pack', ...limits });
    const [upper, lower] = (entry as { divider: [number, number] }).divider;
    expect((8.4 * 1.05 * lower) / (0.95 * upper + 1.05 * lower)).toBeLessThanOrEqual(3.3);
    expect(plan.reasons.map(({ what }) => what)).toEqual(['input', 'divider']);
    expect(plan.findings).toEqual([]);
    const next = added(plan.after, { ...sense, name: 'six', rail: 'six' });
    expect(next.prop!.senses.six).toMatchObject({ input: 1 });
    expect(refused(next, { ...sense, name: 'amps', kind: 'current', rail: 'six' })).toContain(
      'name a meter',
    );
    expect(refused(next, { ...sense, name: 'x', board: 'adc', rail: 'sux' })).toContain(
      'no rail sux',
    );
  });

  test('a meter measures one current and one voltage, without inputs', () => {
    const meter = added(six(), { do: 'add', what: 'board', name: 'm', part: 'ina226-r010' });
    const sense = { do: 'add', what: 'sense', board: 'm', rail: 'six' } as const;
    const amps = added(meter, {
      ...sense,
      name: 'amps',
      kind: 'current',
      limits: { warnAbove: 4 },
    });
    expect(amps.prop!.senses.amps).toMatchObject({ kind: 'current', warnAbove: 4 });
    const both = added(amps, { ...sense, name: 'volts', kind: 'volts' });
    expect('input' in both.prop!.senses.volts! && both.prop!.senses.volts.input).toBeFalsy();
    expect(refused(both, { ...sense, name: 'more', kind: 'current' })).toContain('add another');
    const renamed = added(both, { do: 'rename', what: 'sense', name: 'amps', to: 'draw' });
    expect(Object.keys(renamed.prop!.senses)).toEqual(['draw', 'volts']);
    const gone = planChange(renamed, { do: 'remove', what: 'sense', name: 'volts' });
    expect(Object.keys(gone.after.prop!.senses)).toEqual(['draw']);
    expect(gone.cautions.join()).toContain('Nothing warns');
    const none = added(gone.after, { do: 'remove', what: 'sense', name: 'draw' });
    expect(none.text).not.toContain('senses');
    expect(refused(none, { do: 'remove', what: 'sense', name: 'draw' })).toContain('no sense draw');
  });

  test('the angle of a servo: a free input, and points with which any voltage is a reading', () => {
    const adc = added(six(), { do: 'add', what: 'board', name: 'adc', part: 'ads1115' });
    const angle = {
      do: 'add',
      what: 'sense',
      kind: 'position',
      board: 'adc',
      channel: 'a',
    } as const;
    const plan = planChange(adc, { ...angle, name: 'a_angle' });
    const calibration = [
      [0, -45],
      [3.3, 45],
    ];
    const entry = plan.after.prop!.senses.a_angle!;
    expect(entry).toMatchObject({ kind: 'position', input: 0, channel: 'a', calibration });
    const [low, high] = senseRange(entry);
    expect(low).toBeLessThanOrEqual(0);
    expect(high).toBeGreaterThanOrEqual(3.3);
    expect(plan.findings).toEqual([]);
    expect(plan.cautions.join()).toContain('Calibrate the sensor');
    // Another sensor of one servo, and a part without an angle.
    expect(refused(plan.after, { ...angle, name: 'b' })).toContain('a_angle measures the angle');
    const lamp = { do: 'add', what: 'channel', name: 'l', kind: 'lamp' } as const;
    expect(refused(added(adc, lamp), { ...angle, name: 'b', channel: 'l' })).toContain('a servo');
    // A meter has no input for a potentiometer.
    const meter = added(six(), { do: 'add', what: 'board', name: 'm', part: 'ina226-r010' });
    expect(refused(meter, { ...angle, board: 'm', name: 'b' })).toContain('no analogue inputs');
  });

  test('a level has two points, proposed or given', () => {
    const adc = added(six(), { do: 'add', what: 'board', name: 'adc', part: 'ads1115' });
    const level = { do: 'add', what: 'sense', kind: 'level', board: 'adc' } as const;
    const first = planChange(adc, { ...level, name: 'light', limits: { warnBelow: 0.1 } });
    expect(first.after.prop!.senses.light).toMatchObject({
      ...{ kind: 'level', input: 0, warnBelow: 0.1 },
      calibration: [
        [0, 0],
        [3.3, 1],
      ],
    });
    expect(first.findings).toEqual([]);
    expect(first.cautions.join()).toContain('open light under Measured');
    const falling = planChange(first.after, { ...level, name: 'water', atV: [2.9, 0.4] });
    expect(falling.after.prop!.senses.water).toMatchObject({
      ...{ input: 1 },
      calibration: [
        [2.9, 0],
        [0.4, 1],
      ],
    });
    expect(falling.cautions.join()).not.toContain('Next:');
    expect(refused(adc, { ...level, name: 'flat', atV: [1, 1] })).toContain('monotonic');
    // A chip with a supply of 3.3 V.
    expect(refused(adc, { ...level, name: 'high', atV: [0, 5] })).toContain('destroys it');
  });

  test('a contact gets a free pin and its wire, and says that it stops nothing', () => {
    const contact = { do: 'add', what: 'sense', kind: 'contact', board: 'head' } as const;
    const one = planChange(owl, { ...contact, name: 'lid', warnWhen: 'open' });
    const { pin } = one.after.prop!.senses.lid as { pin: number };
    const taken = new Set(Array.from(pinUses(owl.prop!), (use) => use.pin));
    expect(taken).not.toContain(pin);
    expect(one.after.prop!.senses.lid).toMatchObject({ kind: 'contact', warnWhen: 'open' });
    expect(one.cautions.join()).toContain('stops nothing');
    expect(one.findings).toEqual([]);
    const wires = (loaded: Loaded) => loaded.prop!.wires.length;
    expect(wires(one.after)).toBe(wires(owl) + 1);
    expect(refused(one.after, { ...contact, name: 'other', pin })).toContain('is taken');
  });

  test('a place is offered only where a change finds it, and one that is not offered is refused', () => {
    let loaded = six();
    for (const part of ['ads1115', 'ina226-r010'])
      loaded = added(loaded, { do: 'add', what: 'board', name: part.slice(0, 3), part });
    const kinds = ['volts', 'current', 'level', 'contact', 'position'] as const;
    const change = (kind: (typeof kinds)[number], board: string, name: string): Change =>
      ({
        ...{ do: 'add', what: 'sense', kind, board, name },
        ...(kind === 'position' && { channel: 'a' }),
      }) as Change;
    for (let i = 0; i < 12; i++)
      for (const kind of kinds)
        for (const board of Object.keys(loaded.prop!.boards)) {
          const places = sensePlaces(loaded.prop!)[kind];
          const offered = places.some((one) => one.board === board);
          const measured = Object.values(loaded.prop!.senses).some(
            (one) => one.kind === 'position',
          );
          const name = `s${i}_${kind}_${board}`;
          if (offered && !(kind === 'position' && measured)) {
            const after = added(loaded, change(kind, board, name));
            // The simulated board has a place for everything; only some are filled.
            if (board !== 'head' || i < 3) loaded = after;
          } else expect(refused(loaded, change(kind, board, name))).not.toBe('');
        }
    const left = sensePlaces(loaded.prop!);
    expect(left.level.map(({ board }) => board)).toEqual(['head']);
    expect(left.current.map(({ board }) => board)).toEqual([]);
  });
});

describe('move', () => {
  test('the wire’s core goes to the new pin’s cavity', () => {
    // Physical pin 11 of the 40-pin header is GPIO 17, pin 21 is GPIO 9 (the board's own pin-out, from memory).
    const { touches, cautions, reasons } = planChange(owl, {
      do: 'move',
      what: 'channel',
      name: 'beak',
      board: 'head',
    });
    expect(reasons[0]).toMatchObject({ value: 'head 9' });
    expect(touches).toEqual(['wire W07: signal to J1-21, not J1-12']);
    expect(cautions.join()).toMatch(/Where beak stands is not known/);
    expect(refused(owl, { do: 'move', what: 'channel', name: 'beak', pins: [21] })).toBe(
      'GPIO 21 of board head is taken; give another',
    );
    expect(
      planChange(owl, { do: 'move', what: 'channel', name: 'beak', pins: [14] }).cautions[0],
    ).toMatch(/serial console/);
  });
});

describe('add', () => {
  test('a servo gets a pin, a rail, slow values and its wires', () => {
    const plan = planChange(owl, {
      do: 'add',
      what: 'channel',
      name: 'extra',
      kind: 'servo',
      part: 'servo-9g',
    });
    expect(plan.findings).toEqual([]);
    const extra = plan.after.prop!.channels.extra!;
    expect(extra).toMatchObject({
      output: { board: 'head', pin: 9 },
      rail: 'servo6v',
      limitsDeg: [-10, 10],
    });
    expect(extra.wire).toBeDefined();
    expect(plan.reasons.map(({ what }) => what)).toContain('rail');
  });

  test.each([['relay'], ['lamp']])(
    'a %s lacks only its wire, where the blocks are full',
    (kind) => {
      const { findings, cautions } = planChange(owl, {
        do: 'add',
        what: 'channel',
        name: 'extra',
        kind,
      });
      expect(findings.map(({ wrong }) => wrong)).toEqual(['extra has no wire']);
      expect(cautions.join()).toMatch(/no free terminal is left on F2-2; add a block/);
    },
  );

  const voice = { do: 'add', what: 'channel', name: 'voice', kind: 'sound' } as const;

  test('a loudspeaker brings its sound card, and both are named before it is done', () => {
    const { after, edits, findings, touches, reasons, cautions } = planChange(owl, voice);
    expect(edits.map(({ path }) => path)).toEqual([
      ['boards', 'speaker'],
      ['channels', 'voice'],
    ]);
    expect(findings).toEqual([]);
    expect(touches).toEqual(['board speaker, which is added']);
    expect(after.prop!.boards.speaker).toEqual({ driver: 'alsa', device: 'default' });
    expect(after.prop!.channels.voice).toEqual({
      ...{ kind: 'sound', output: { board: 'speaker' } },
      ...{ ceiling: 0.1, fadeOutS: 0.5, park: { to: 0 } },
    });
    expect(reasons.map(({ what, value }) => `${what}: ${value}`)).toEqual([
      'sound card: speaker',
      'ceiling: 0.1 of full scale',
      'fade to silence: 0.5 s',
    ]);
    expect(cautions.join()).toMatch(/Loud sound damages hearing/);
    expect(cautions.join()).not.toMatch(/wire/);
  });

  test('a second loudspeaker is on the card that is there', () => {
    const { after } = planChange(owl, voice);
    const { edits, touches, findings } = planChange(after, { ...voice, name: 'echo' });
    expect(edits.map(({ path }) => path)).toEqual([['channels', 'echo']]);
    expect(edits[0]!.value).toMatchObject({ output: { board: 'speaker' } });
    expect({ touches, findings }).toEqual({ touches: [], findings: [] });
  });

  test('beside a sound card the loom stays complete: the next servo gets its wires', () => {
    const { after } = planChange(owl, voice);
    const next = { do: 'add', what: 'channel', name: 'extra', kind: 'servo' } as const;
    const { findings, after: both } = planChange(after, { ...next, part: 'servo-9g' });
    expect(findings).toEqual([]);
    expect(both.prop!.channels.extra!.wire).toBeDefined();
    expect(Object.values(both.prop!.connectors).map(({ board }) => board)).not.toContain('speaker');
  });

  test('the name of the card makes way for a board that has it', () => {
    const taken = prop(
      propText(`a: ${servo(17)}`, '', 'head: { driver: sim }\n  speaker: { driver: sim }'),
    );
    const { after } = planChange(taken, voice);
    expect(after.prop!.channels.voice).toMatchObject({ output: { board: 'speaker_2' } });
  });

  test('a loudspeaker has no pins, and its board is a sound card', () => {
    expect(refused(owl, { ...voice, pins: [4] })).toMatch(/has no pins/);
    expect(refused(owl, { ...voice, board: 'head' })).toBe(
      'board head is not a sound card; leave it out, and one is added',
    );
    expect(refused(owl, { ...voice, part: 'led-5mm' })).toMatch(/not a part for a sound/);
    expect(refused(owl, { ...voice, kind: 'constructor' })).toMatch(
      /^there is no kind constructor; use servo, relay, rgb, lamp, sound/,
    );
    const { after } = planChange(owl, voice);
    const move = { do: 'move', what: 'channel', name: 'voice' } as const;
    expect(refused(after, { ...move, pins: [4] })).toMatch(/has no pins/);
    expect(refused(after, { ...move, board: 'head' })).toBe(
      'board head is not a sound card; use speaker',
    );
  });

  test('where no pins are left it says so', () => {
    expect(refused(owl, { do: 'add', what: 'channel', name: 'extra', kind: 'rgb' })).toMatch(
      /^no 3 pins are free and suitable on board head; add a board/,
    );
  });
});
