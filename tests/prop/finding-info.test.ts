import { readdirSync, readFileSync } from 'node:fs';
import { expect, test } from 'vitest';
import { type Finding, type FindingCode, WHOLE_FILE } from '../../src/prop/finding.ts';
import { findingInfos } from '../../src/prop/finding-info.ts';
import { loadProp, parseProp } from '../../src/prop/load.ts';
import { MAX_BYTES } from '../../src/prop/text.ts';

const SRC = new URL('../../src/', import.meta.url);
const finding: Finding = {
  severity: 'error',
  line: 1,
  column: 1,
  path: 'channels.beak.pin',
  wrong: 'unknown key',
  right: 'remove it',
};
const codeOf = (one: Finding) => findingInfos([one])[0]!.code;
const prop = (more: string) => `sinew: 1\nname: owl\nboards: {}\nchannels: {}\n${more}`;
const codesOf = (text: string) =>
  findingInfos(parseProp(text, 'a.yaml').findings).map(({ code }) => code);

test.each([
  'unknown key',
  'missing',
  'nothing is given',
  'this key is given twice',
  'merge keys (<<) are not supported',
  'there is no channel alias',
  'the current is larger than the fuse',
  'the file is not UTF-8 text',
  'there is no such file',
  'the file is empty',
])('the words of a finding say nothing about its code: %s', (wrong) => {
  expect(codeOf({ ...finding, wrong })).toBe('prop.channels');
  expect(codeOf({ ...finding, wrong, path: WHOLE_FILE })).toBe('yaml.syntax');
  expect(codeOf({ ...finding, wrong, code: 'yaml.alias' })).toBe('yaml.alias');
});

test('nobody looks for words in a finding', () => {
  const files = readdirSync(SRC, { recursive: true, encoding: 'utf8' }).filter((file) =>
    /\.tsx?$/.test(file),
  );
  expect(files.length).toBeGreaterThan(200);
  const searches =
    /\bwrong *[!=]== *['"`A-Z]|\.test\((\w+\.)*wrong\)|\bwrong\.(includes|startsWith|endsWith|match|search|indexOf)\(/;
  expect(files.filter((file) => searches.test(readFileSync(new URL(file, SRC), 'utf8')))).toEqual(
    [],
  );
});

const TEXTS: [FindingCode, text: string][] = [
  ['schema.unknown-key', prop('chanels: {}')],
  ['schema.missing', 'sinew: 1\nboards: {}\nchannels: {}\n'],
  ['schema.empty', prop('rails: { six: { volts: , limitA: 2 } }')],
  ['yaml.duplicate-key', prop('channels: {}')],
  ['yaml.merge-key', prop('poses:\n  a: &a { b: 1 }\n  c: { <<: *a }')],
  ['yaml.alias', prop('poses: *nothing')],
  ['file.too-large', `# ${'x'.repeat(MAX_BYTES)}`],
  ['file.encoding', '\uFEFFsinew: 1'],
  ['file.encoding', 'sinew: \x01'],
  ['file.empty', ''],
];
test.each(TEXTS)('%s', (code, text) => {
  expect(codesOf(text)).toContain(code);
});

test.each(['ENOENT', 'EACCES', 'EISDIR', 'EIO'])('a file that cannot be read: %s', async (code) => {
  const { findings } = await loadProp('a.yaml', () =>
    Promise.reject(Object.assign(new Error(code), { code })),
  );
  expect(findings.map(codeOf)).toEqual(['file.unreadable']);
});

test('a file whose bytes are not UTF-8', async () => {
  const { findings } = await loadProp('a.yaml', () => Promise.resolve(Buffer.from([0x61, 0xff])));
  expect(findings.map(codeOf)).toEqual(['file.encoding']);
});
