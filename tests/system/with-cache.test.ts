import { execFileSync } from 'node:child_process';
import { cpSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { Script } from 'node:vm';
import { afterEach, beforeEach, expect, it } from 'vitest';
import { MODULE, THREADS } from '../../build.mjs';

/** A small bundle with a cache, in a folder of its own. */

const LOADER = fileURLToPath(new URL('../../dist/with-cache.js', import.meta.url));
const OWL = fileURLToPath(new URL('../../config/owl.yaml', import.meta.url));
const moduleOf = (code: string) => MODULE.join(`${code}\n`);
const SAYS = (text: string) =>
  moduleOf(`function say(){return ${JSON.stringify(text)}}
process.stdout.write(say() + (globalThis.never ?? ''));`);

let folder: string;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'sinew-code-'));
  cpSync(LOADER, join(folder, 'with-cache.js'));
  writeFileSync(join(folder, 'package.json'), '{ "type": "commonjs" }');
  writeFileSync(join(folder, 'say.js'), 'require("./with-cache.js").runCached(__filename);\n');
  writeFileSync(join(folder, 'say.code.js'), SAYS('first'));
  run({ SINEW_MAKE_CACHE: '1' });
});
afterEach(() => rmSync(folder, { recursive: true }));

function run(env: NodeJS.ProcessEnv = {}): string {
  return execFileSync(process.execPath, [join(folder, 'say.js')], {
    env: { ...process.env, ...env },
    encoding: 'utf8',
  });
}

it('a cache of another text is not used, though it is as long', () => {
  expect(readFileSync(join(folder, 'say.cache')).length).toBeGreaterThan(64);
  writeFileSync(join(folder, 'say.code.js'), SAYS('other'));
  expect(run()).toBe('other');
});

it.each([
  ['cut off', (bytes: Buffer) => bytes.subarray(0, bytes.length - 100)],
  ['empty', () => Buffer.alloc(0)],
  [
    'spoilt in one byte',
    (bytes: Buffer) => bytes.fill(bytes.at(-20)! ^ 0xff, bytes.length - 20, bytes.length - 19),
  ],
  ['spoilt in its head', (bytes: Buffer) => bytes.fill(0, 40, 44)],
])('a cache that is %s changes nothing', (_what, spoil) => {
  const cache = join(folder, 'say.cache');
  writeFileSync(cache, spoil(readFileSync(cache)));
  expect(run()).toBe('first');
});

it('without a cache the program runs as well', () => {
  rmSync(join(folder, 'say.cache'));
  expect(run()).toBe('first');
});

it.each(['daemon', 'worker', 'service', 'cli'])(
  'the code of %s that the build keeps is used by a program that starts',
  (name) => {
    const bundle = join(dirname(LOADER), `${name}.code.js`);
    const cachedData = readFileSync(join(dirname(LOADER), `${name}.cache`)).subarray(64);
    // V8 says so of a script that is as long, whatever its text is: the digests are for that.
    const { cachedDataRejected } = new Script(readFileSync(bundle, 'utf8'), { cachedData });
    expect(cachedDataRejected).toBe(false);
  },
);

it.each(Object.keys(THREADS).concat('daemon', 'cli'))(
  'V8 keeps the text of %s in one byte a character: it has none beyond Latin-1',
  (name) => {
    const text = readFileSync(join(dirname(LOADER), `${name}.code.js`), 'utf8');
    const wide = [...text].filter((letter) => letter.codePointAt(0)! > 0xff);
    // In a regular expression written with \u, or in a string, esbuild writes it in ASCII.
    expect(wide).toEqual([]);
  },
);

it('code that is kept by a program with short pauses is used by one that starts', () => {
  const file = join(folder, 'say.code.js');
  const flags = `require('node:v8').setFlagsFromString('--no-flush-bytecode');`;
  writeFileSync(file, moduleOf(`${flags}process.stdout.write('again');`));
  run({ SINEW_MAKE_CACHE: '1' });
  const source = readFileSync(file, 'utf8');
  const cachedData = readFileSync(join(folder, 'say.cache')).subarray(64);
  expect(new Script(source, { cachedData }).cachedDataRejected).toBe(false);
});

it('the session that the caches are made from is understood to its last line', async () => {
  const dist = join(folder, 'release/dist');
  cpSync(dirname(LOADER), dist, { recursive: true });
  cpSync(join(dirname(LOADER), '../package.json'), join(folder, 'release/package.json'));
  const { makeCache } = await import('../../systemd/make-cache.mjs');
  expect(await makeCache(dist, OWL)).toBe(true);
}, 120_000);
