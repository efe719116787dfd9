import fs from 'node:fs/promises';
import { afterEach, describe, expect, test } from 'vitest';
import { fields } from '../../../src/api/fields.ts';
import { METHODS, type Result } from '../../../src/api/methods.ts';
import { versionOf } from '../../../src/prop/file/version.ts';
import { OWLET } from '../owlet.ts';
import { ME, Rig, refusal } from '../rig.ts';

// What is wrong with the file, what its versions differ in, and what a correction would do.

let rig: Rig;
afterEach(() => rig.remove());

type Asked = 'prop.findings' | 'prop.fix' | 'prop.version' | 'prop.difference' | 'prop.history';

/** Answered in the shape that the API describes. */
async function asked<M extends Asked>(method: M, params: object = {}): Promise<Result<M>> {
  const answer: unknown = await rig.question(method, params);
  return METHODS[method].result(fields()).parse(answer) as Result<M>;
}

const NIGHT = OWLET.replace('Foyer owl', 'Night owl');
const SLOW = OWLET.replace('speedDegS: 120', 'speedDegS: 100');
/** Two that can be corrected for sure, and one that cannot. */
const SLIPS = OWLET.replace('limitsDeg: [-5, 35]', 'limitsDeg: [35, -5]')
  .replace('volts: 6.0', 'volts:6.0')
  .replace('park: { to: folded', 'prak: { to: folded');
const OLD = versionOf(OWLET);

describe('findings', () => {
  test('of a sound file, with their codes', async () => {
    rig = await Rig.open();
    const answer = await asked('prop.findings');
    expect(answer).toMatchObject({ name: 'owl.yaml', version: OLD, pending: false, more: 0 });
    expect(answer).not.toHaveProperty('inUse');
  });

  test('of a faulty file, errors first, and those of the version in use', async () => {
    rig = await Rig.open();
    await fs.writeFile(rig.file, SLIPS);
    await rig.pass(1200);
    const { version, problem, findings, inUse } = await asked('prop.findings');
    expect(version).toBe(versionOf(SLIPS));
    expect(problem).toMatch(/it has an error/);
    expect(inUse).toMatchObject({ version: OLD });
    const levels = findings.map(({ level }) => level);
    expect(levels).toEqual([...levels].sort());
    expect(findings.filter(({ sure }) => sure).map(({ path }) => path)).toContain(
      'channels.beak.limitsDeg',
    );
  });

  test('of a file that is gone are those of the version in use', async () => {
    rig = await Rig.open();
    await fs.rm(rig.file);
    await rig.pass(1200);
    const answer = await asked('prop.findings');
    expect(answer).toMatchObject({ version: OLD, problem: expect.stringMatching(/is gone/) });
    expect(answer).not.toHaveProperty('inUse');
  });

  test('are never more than a page can show, and what is left out is counted', async () => {
    rig = await Rig.open();
    const wrong = Array.from({ length: 900 }, (_, i) => `k${i}: 1`).join('\n');
    await fs.writeFile(rig.file, `${OWLET}\n${wrong}\n`);
    await rig.pass(1200);
    const { findings, more } = await asked('prop.findings');
    expect(findings).toHaveLength(300);
    expect(more).toBeGreaterThanOrEqual(600);
    expect(JSON.stringify(findings).length).toBeLessThan(200_000);
  });
});

describe('a correction', () => {
  test('of one finding changes that alone, of all of them all; nothing is written', async () => {
    rig = await Rig.open();
    await fs.writeFile(rig.file, SLIPS);
    await rig.pass(1200);
    const version = versionOf(SLIPS);
    const { findings } = await asked('prop.findings');
    const one = findings.find(({ sure, line }) => sure && line === 8)!;
    const other = findings.find(({ path }) => path === 'channels.beak.limitsDeg')!;
    // A value cannot be replaced while the text around it cannot be read for sure.
    expect(await asked('prop.fix', { version, only: [other.at] })).toMatchObject({ done: [] });
    const { done, text, hunks } = await asked('prop.fix', { version, only: [one.at] });
    expect(done).toEqual([one.at]);
    expect(text).toBe(SLIPS.replace('volts:6.0', 'volts: 6.0'));
    expect(hunks).toHaveLength(1);
    expect(hunks[0]!.lines.map(({ is }) => is)).toEqual([
      'same',
      'same',
      'gone',
      'new',
      'same',
      'same',
    ]);
    const all = await asked('prop.fix', { version });
    expect(all.text).toBe(OWLET.replace('park: { to: folded', 'prak: { to: folded'));
    expect(all.done).toHaveLength(2);
    expect(all.left).toBeGreaterThan(0);
    expect(await rig.read()).toBe(SLIPS);
  });

  test('takes the place of the faulty file, and can be undone', async () => {
    const slips = OWLET.replace('limitsDeg: [-5, 35]', 'limitsDeg: [35, -5]');
    rig = await Rig.open();
    await fs.writeFile(rig.file, slips);
    await rig.pass(1200);
    const { text } = await asked('prop.fix', { version: versionOf(slips) });
    expect(await rig.apply(text!, versionOf(slips))).toMatchObject({ version: OLD });
    expect(rig.status.problem).toBeUndefined();
    const { versions } = await asked('prop.history');
    expect(versions[1]).toMatchObject({ version: versionOf(slips) });
    expect((await refusal(rig.restore(versionOf(slips)))).message).toMatch(/would be wrong/);
  });

  test('does not lose the version in use, which the hand has written over', async () => {
    rig = await Rig.open();
    const night = SLIPS.replace('Foyer owl', 'Night owl').replace('prak', 'park');
    await fs.writeFile(rig.file, night);
    await rig.pass(1200);
    const { text } = await asked('prop.fix', { version: versionOf(night) });
    const { version } = await rig.apply(text!, versionOf(night));
    expect(version).not.toBe(OLD);
    expect((await asked('prop.history')).versions.map((one) => one.version)).toEqual([
      version,
      versionOf(night),
      OLD,
    ]);
    expect(await rig.restore(OLD)).toMatchObject({ version: OLD });
    expect(await rig.read()).toBe(OWLET);
  });

  test('of some errors of several is written, and used when none is left', async () => {
    rig = await Rig.open();
    await fs.writeFile(rig.file, SLIPS);
    await rig.pass(1200);
    const { text } = await asked('prop.fix', { version: versionOf(SLIPS) });
    const apply = (given: string, version: string, partly?: true) =>
      rig.ask((n) => ({ t: 'apply', n, text: given, version, by: ME, ...(partly && { partly }) }));
    expect((await refusal(apply(text!, versionOf(SLIPS)))).message).toMatch(/would be wrong/);
    expect(await apply(text!, versionOf(SLIPS), true)).toMatchObject({
      version: versionOf(text!),
      changed: [],
      problem: expect.stringMatching(/has an error/),
    });
    expect(await rig.read()).toBe(text);
    expect(rig.core.version).toBe(OLD);
    const { versions } = await asked('prop.history');
    expect(versions.map(({ version }) => version)).toContain(versionOf(SLIPS));
    // Never more errors than before, nor any over a file without.
    const worse = SLIPS.replace('speedDegS: 120', 'speedDegS: fast');
    expect((await refusal(apply(worse, versionOf(text!), true))).message).toMatch(/would be wrong/);
    expect(await apply(OWLET, versionOf(text!), true)).toMatchObject({ version: OLD });
    expect((await refusal(apply(SLIPS, OLD, true))).message).toMatch(/would be wrong/);
    expect(await rig.read()).toBe(OWLET);
  });

  test('is refused for a version that is not the present one, and does nothing for strange numbers', async () => {
    rig = await Rig.open();
    const old = await refusal(rig.question('prop.fix', { version: versionOf(SLOW) }));
    expect(old.error.data).toMatchObject({ code: 'file.other-version', version: OLD });
    expect(await asked('prop.fix', { version: OLD, only: [99_999] })).toMatchObject({
      done: [],
      hunks: [],
    });
  });
});

describe('versions', () => {
  test('differ line by line and in words, with what waits for parking', async () => {
    rig = await Rig.open();
    rig.core.parked = true;
    await rig.apply(SLOW, OLD);
    const difference = await asked('prop.difference', { version: OLD });
    expect(difference).toMatchObject({
      present: versionOf(SLOW),
      changed: ['speedDegS of beak: 100 becomes 120'],
      whenParked: true,
      more: 0,
    });
    expect(difference.hunks[0]!.lines).toContainEqual({ is: 'new', text: '    speedDegS: 120' });
    const own = await asked('prop.difference', { version: versionOf(SLOW) });
    expect(own).toMatchObject({ changed: [], hunks: [], whenParked: false });
  });

  test('are told with what each changed, and which one is in use', async () => {
    rig = await Rig.open();
    await rig.apply(SLOW, OLD);
    const { versions } = await asked('prop.history');
    expect(versions).toMatchObject([
      { version: versionOf(SLOW), current: true, what: expect.stringMatching(/speedDegS of beak/) },
      { version: OLD, inUse: true },
    ]);
    // The version in use is there also while a faulty file has taken its place.
    await fs.writeFile(rig.file, 'x: [');
    await rig.pass(1200);
    const after = await asked('prop.history');
    expect(after.versions[0]).toMatchObject({ version: versionOf('x: ['), current: true });
    expect(after.versions.filter(({ inUse }) => inUse)).toMatchObject([{ version: OLD }]);
  });

  test('are given whole or by lines, and never those that are not kept', async () => {
    rig = await Rig.open();
    await rig.apply(NIGHT, OLD);
    const lines = OWLET.split('\n');
    expect(await asked('prop.version', { version: OLD })).toEqual({
      version: OLD,
      from: 1,
      of: lines.length,
      text: OWLET,
    });
    expect(await asked('prop.version', { version: OLD, from: 2, lines: 2 })).toMatchObject({
      text: lines.slice(1, 3).join('\n'),
    });
    expect(await asked('prop.version', { version: OLD, from: 100_000 })).toMatchObject({
      text: '',
    });
    for (const method of ['prop.version', 'prop.difference'])
      expect(
        (await refusal(rig.question(method, { version: '0'.repeat(16) }))).error.data.code,
      ).toBe('version.unknown');
  });

  test('that are removed from the disk meanwhile are refused; a damaged one says what is wrong', async () => {
    rig = await Rig.open();
    await rig.apply(NIGHT, OLD);
    await rig.apply(SLOW, versionOf(NIGHT));
    await fs.rm(`${rig.file}.~1~`);
    for (const method of ['prop.version', 'prop.difference'])
      expect((await refusal(rig.question(method, { version: OLD }))).message).toMatch(
        /no version .* any more/,
      );
    expect((await refusal(rig.restore(OLD))).message).toMatch(/no version .* any more/);
    const spoilt = '\0\x1b[31m: {{{';
    await fs.writeFile(`${rig.file}.~2~`, spoilt);
    const { versions } = await asked('prop.history');
    expect(versions.map(({ version }) => version)).toContain(versionOf(spoilt));
    const version = versionOf(spoilt);
    expect(await asked('prop.difference', { version })).toMatchObject({
      problem: expect.stringMatching(/error \(line 1/),
      changed: [],
    });
    expect((await refusal(rig.restore(version))).message).toMatch(/would be wrong/);
    expect(await rig.read()).toBe(SLOW);
  });

  test('as long as a file may be are compared in bounded space', async () => {
    rig = await Rig.open();
    const long = `${OWLET}${Array.from({ length: 20_000 }, (_, i) => `# remark ${i} ${'x'.repeat(30)}\n`).join('')}`;
    expect(Buffer.byteLength(long)).toBeGreaterThan(900_000);
    await rig.apply(long, OLD);
    const { hunks, more, unlike } = await asked('prop.difference', { version: OLD });
    expect(unlike ?? hunks.flatMap(({ lines }) => lines).length <= 400).toBe(true);
    expect(unlike ?? more > 19_000).toBe(true);
    expect(
      await asked('prop.version', { version: versionOf(long), from: 20_000, lines: 5 }),
    ).toMatchObject({
      text: expect.stringMatching(/^# remark/),
    });
  });

  test('ten are kept, and the oldest goes', async () => {
    rig = await Rig.open();
    let text = OWLET;
    for (let i = 0; i < 12; i++) {
      const next = OWLET.replace('Foyer owl', `Owl ${i}`);
      await rig.apply(next, versionOf(text));
      text = next;
    }
    await rig.flush();
    const { versions } = await asked('prop.history');
    expect(versions).toHaveLength(11);
    expect((await refusal(rig.restore(OLD))).message).toMatch(/any more/);
    const oldest = versions.at(-1)!.version;
    expect(await rig.restore(oldest)).toMatchObject({ version: oldest });
  });
});

test('of two who go back at once, the second is refused, with what the first has changed', async () => {
  rig = await Rig.open();
  await rig.apply(NIGHT, OLD);
  const present = versionOf(NIGHT);
  const restore = (base: string) =>
    rig.ask((n) => ({ t: 'restore', n, version: OLD, base, by: ME }));
  await fs.writeFile(rig.file, NIGHT.replace('speedDegS: 120', 'speedDegS: 100'));
  const { error } = await refusal(restore(present));
  expect(error.data).toMatchObject({
    code: 'file.other-version',
    changed: ['speedDegS of beak: 120 becomes 100'],
  });
  expect(await rig.read()).toContain('speedDegS: 100');
  expect(await restore(rig.status.onDisk!)).toMatchObject({ version: OLD });
});
