import fs from 'node:fs/promises';
import { afterEach, describe, expect, test } from 'vitest';
import { versionOf } from '../../../src/prop/file/version.ts';
import { OWLET } from '../owlet.ts';
import { type Applied, ME, Rig, type RigOptions, refusal } from '../rig.ts';

let rig: Rig;
afterEach(() => rig.remove());
const open = async (options: RigOptions = {}) => {
  rig = await Rig.open(options);
};
const NIGHT = OWLET.replace('Foyer owl', 'Night owl');
const SLOW = OWLET.replace('speedDegS: 120', 'speedDegS: 100');

describe('apply', () => {
  test('replaces the file, and says what changed', async () => {
    await open();
    expect(await rig.apply(NIGHT, versionOf(OWLET))).toEqual({
      version: versionOf(NIGHT),
      changed: ['name: "Foyer owl" becomes "Night owl"'],
      pending: false,
    });
    expect(await rig.read()).toBe(NIGHT);
    expect(await fs.readFile(`${rig.file}.~1~`, 'utf8')).toBe(OWLET);
    expect(rig.core.version).toBe(versionOf(NIGHT));
  });

  test('of what must wait is pending until parked', async () => {
    await open();
    expect(await rig.apply(SLOW, versionOf(OWLET))).toMatchObject({ pending: true });
    expect(rig.status).toMatchObject({ pending: true, version: versionOf(OWLET) });
    // On top of that, by edits.
    const edits = [{ path: ['name'], value: 'Night owl' }];
    const version = versionOf(SLOW);
    expect(
      await rig.ask<Applied>((n) => ({ t: 'apply', n, edits, version, by: ME })),
    ).toMatchObject({ pending: true });
    rig.core.park();
    await rig.flush();
    expect(rig.status).toMatchObject({ pending: false, version: versionOf(await rig.read()) });
    expect(await rig.read()).toBe(SLOW.replace('Foyer owl', 'Night owl'));
  });

  test('takes effect at once while parked', async () => {
    await open();
    rig.core.parked = true;
    expect(await rig.apply(SLOW, versionOf(OWLET))).toMatchObject({ pending: false });
  });

  test('of limits by edits waits, as they were not measured', async () => {
    await open();
    const edits = [{ path: ['channels', 'beak', 'limitsDeg'], value: [-5, 34] }];
    const version = versionOf(OWLET);
    expect(
      await rig.ask<Applied>((n) => ({ t: 'apply', n, edits, version, by: ME })),
    ).toMatchObject({ pending: true });
  });

  test('with an old version is refused with the difference', async () => {
    await open();
    await rig.capture(['channels', 'beak', 'marks', 'open'], 29);
    const { error } = await refusal(rig.apply(NIGHT, versionOf(OWLET)));
    expect(error.code).toBe(-32003);
    expect(error.data).toMatchObject({
      version: rig.status.version,
      changed: ['marks.open of beak: 30 becomes 29'],
    });
    expect(error.data.reason).toMatch(/changed by somebody else.*prop\.read/);
    expect(await rig.read()).toContain('open: 29');
  });

  test('two editors at once: the second is refused, and nothing of the first is lost', async () => {
    await open();
    const [one, two] = await Promise.allSettled([
      rig.apply(NIGHT, versionOf(OWLET)),
      rig.apply(SLOW, versionOf(OWLET)),
    ]);
    expect(one.status).toBe('fulfilled');
    expect(two.status).toBe('rejected');
    expect(await rig.read()).toBe(NIGHT);
  });

  test('after a change by hand is refused, and the hand keeps its change', async () => {
    await open();
    await fs.writeFile(rig.file, SLOW);
    const { error } = await refusal(rig.apply(NIGHT, versionOf(OWLET)));
    expect(error.data.changed).toEqual(['speedDegS of beak: 120 becomes 100']);
    expect(await rig.read()).toBe(SLOW);
  });

  test('over an editor that saves in that very moment is refused', async () => {
    let first = true;
    await open({
      fileSystem: {
        ...fs,
        link: async (from, to) => {
          await fs.link(from, to);
          if (first) await fs.writeFile(rig.file, SLOW);
          first = false;
        },
      },
    });
    expect((await refusal(rig.apply(NIGHT, versionOf(OWLET)))).message).toMatch(/keeps changing/);
    expect(await rig.read()).toBe(SLOW);
    expect(await rig.files()).toEqual(['owl.yaml']);
  });

  test.each<[string, string, RegExp]>([
    ['faulty', OWLET.replace('speedDegS: 120', 'speedDegS: fast'), /would be wrong.*"fast"/],
    ['empty', '', /would be wrong.*empty/],
    ['too large', '#'.repeat(1024 * 1024 + 1), /larger than 1 MiB/],
  ])('of a text that is %s writes nothing', async (_what, text, reason) => {
    await open();
    const { message } = await refusal(rig.apply(text, versionOf(OWLET)));
    expect(message).toMatch(reason);
    expect(await rig.read()).toBe(OWLET);
    expect(await rig.files()).toEqual(['owl.yaml']);
  });

  test('mends a faulty file', async () => {
    await open();
    const faulty = OWLET.replace('speedDegS: 120', 'speedDegS: fast');
    await fs.writeFile(rig.file, faulty);
    await rig.pass(1200);
    await rig.apply(NIGHT, versionOf(faulty));
    expect(rig.status).toMatchObject({ version: versionOf(NIGHT), onDisk: versionOf(NIGHT) });
    expect(rig.status.problem).toBeUndefined();
  });

  test('brings back a file that is gone', async () => {
    await open();
    await fs.rm(rig.file);
    await rig.pass(1200);
    await rig.apply(NIGHT, versionOf(OWLET));
    expect(await rig.read()).toBe(NIGHT);
  });

  test('that the boards cannot do puts the file back, to the byte', async () => {
    await open();
    rig.core.parked = true;
    rig.core.refuses = () => 'board head has no pin 44';
    const { message } = await refusal(rig.apply(SLOW, versionOf(OWLET)));
    expect(message).toMatch(/boards cannot do this: .*pin 44; the file is as it was before/);
    expect(await rig.read()).toBe(OWLET);
    expect(await rig.files()).toEqual(['owl.yaml']);
    expect(rig.status).toMatchObject({ version: versionOf(OWLET), pending: false });
    expect(rig.status.problem).toBeUndefined();
    await rig.pass(1200);
    expect(rig.core.changes).toEqual([]);
  });

  test('rejected when parked at last: the file stays, and the way back is named', async () => {
    await open();
    await rig.apply(SLOW, versionOf(OWLET));
    rig.core.refuses = () => 'board head has no pin 44';
    rig.core.park();
    await rig.flush();
    expect(rig.status.problem).toMatch(/pin 44.*put the version before it back/);
    rig.core.refuses = () => undefined;
    await rig.restore(versionOf(OWLET));
    expect(rig.status.problem).toBeUndefined();
    expect(rig.status.version).toBe(versionOf(OWLET));
  });
});

describe('restore', () => {
  test('puts a version back, and is itself a version', async () => {
    await open();
    await rig.apply(NIGHT, versionOf(OWLET));
    expect(await rig.restore(versionOf(OWLET))).toMatchObject({
      version: versionOf(OWLET),
      changed: ['name: "Night owl" becomes "Foyer owl"'],
      pending: false,
    });
    expect(await rig.read()).toBe(OWLET);
    expect(await fs.readFile(`${rig.file}.~2~`, 'utf8')).toBe(NIGHT);
  });

  test('of the present one is refused, and of one that is not there', async () => {
    await open();
    expect((await refusal(rig.restore(versionOf(OWLET)))).message).toMatch(/nothing to do/);
    const { error } = await refusal(rig.restore('0123456789abcdef'));
    expect(error.code).toBe(-32005);
  });

  test('of a faulty one is refused', async () => {
    await open();
    const faulty = OWLET.replace('speedDegS: 120', 'speedDegS: fast');
    await fs.writeFile(`${rig.file}.~1~`, faulty);
    expect((await refusal(rig.restore(versionOf(faulty)))).message).toMatch(/would be wrong/);
    expect(await rig.read()).toBe(OWLET);
  });

  test('of one that the boards reject leaves everything as it is', async () => {
    await open();
    rig.core.parked = true;
    await rig.apply(SLOW, versionOf(OWLET));
    rig.core.refuses = () => 'no';
    await refusal(rig.restore(versionOf(OWLET)));
    expect(await rig.read()).toBe(SLOW);
    expect(rig.status).toMatchObject({ version: versionOf(SLOW), onDisk: versionOf(SLOW) });
  });

  test('in place of a faulty file', async () => {
    await open();
    await fs.writeFile(rig.file, 'x: [');
    await rig.restore(versionOf(OWLET));
    expect(await rig.read()).toBe(OWLET);
    expect(rig.status.problem).toBeUndefined();
  });
});
