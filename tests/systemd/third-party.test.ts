import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { thirdParty } from '../../systemd/third-party.mjs';

const root = fileURLToPath(new URL('../..', import.meta.url));

/** The parts of the file, by their titles: what stands below the lines of each. */
function parts(text: string): Map<string, { head: string; licence: string }> {
  const found = text.split(/^-{80}\n/m).slice(1);
  return new Map(
    found.map((it) => {
      const [title = '', ...rest] = it.split('\n');
      return [
        title,
        { head: rest.slice(0, 2).join('\n'), licence: rest.slice(3).join('\n').trim() },
      ];
    }),
  );
}

it('every package in the bundles of dist is listed, with the text of its licence', () => {
  const metafiles: { inputs: object }[] = JSON.parse(
    readFileSync(join(root, 'dist/metafile.json'), 'utf8'),
  );
  const text = thirdParty(metafiles, root, join(root, 'no-such-folder'));
  const listed = parts(text);
  const names = new Set<string>();
  for (const input of metafiles.flatMap(({ inputs }) => Object.keys(inputs))) {
    const [, after] = /.*node_modules\/(.+)$/.exec(input) ?? [];
    if (after) names.add(after.split('/', after.startsWith('@') ? 2 : 1).join('/'));
  }
  // Of the daemon, its threads, the command and the page.
  for (const name of ['fastify', 'codec-parser', 'mpg123-decoder', 'commander', 'preact'])
    expect(names).toContain(name);
  for (const name of names) {
    const mine = [...listed].filter(([title]) => title.replace(/ [^ ]+$/, '') === name);
    expect(mine.length, name).toBeGreaterThan(0);
    for (const [title, { head, licence }] of mine) {
      expect(head, title).toMatch(/^licence: [\w.+() -]+\nsource: \S+.*; npm package \S+@\d/);
      expect(licence.length, title).toBeGreaterThan(400);
      expect(licence, title).not.toContain('(c) <year>');
    }
  }
  const inside = (name: string) =>
    [...listed].find(([title]) => title.startsWith(`${name} (in `))?.[1].licence;
  expect(inside('libmpg123')).toContain('GNU LESSER GENERAL PUBLIC LICENSE\n\nVersion 2.1');
  for (const name of ['libFLAC', 'libvorbis', 'libogg'])
    expect(inside(name)).toMatch(/^Copyright \(c\) .*Xiph\.Org Foundation/);
  expect(text).toMatch(
    /^- codec-parser \S+ \(LGPL-3\.0-or-later\)\n- libmpg123 in mpg123-decoder /m,
  );
});

describe('a package', () => {
  let folder: string;
  beforeEach(() => {
    folder = mkdtempSync(join(tmpdir(), 'sinew-third-party-'));
    mkdirSync(join(folder, 'node_modules/@a/part'), { recursive: true });
  });
  afterEach(() => rmSync(folder, { recursive: true }));

  const about = { name: '@a/part', version: '1.2.3', author: 'A. Maker', repository: 'a/part' };
  const list = (license: object, from: 'bundle' | 'release' = 'bundle') => {
    const modules = join(folder, 'node_modules');
    writeFileSync(join(modules, '@a/part/package.json'), JSON.stringify({ ...about, ...license }));
    return from === 'release'
      ? thirdParty([], folder, modules)
      : thirdParty([{ inputs: { 'node_modules/@a/part/lib/x.js': {} } }], folder, '/dev/null/none');
  };

  it('without a licence is refused with its name, in a bundle and in the release', () => {
    for (const from of ['bundle', 'release'] as const) {
      expect(() => list({}, from)).toThrow('package @a/part 1.2.3 names no licence');
      expect(() => list({ license: 'SEE LICENSE IN x' }, from)).toThrow(
        'package @a/part 1.2.3 has no',
      );
      expect(() => list({ license: 'No-Such-1.0' }, from)).toThrow('package @a/part 1.2.3 has no');
    }
    writeFileSync(join(folder, 'node_modules/@a/part/LICENSE'), ' \n');
    expect(() => list({ license: 'No-Such-1.0' })).toThrow('package @a/part 1.2.3 has no');
  });

  it('without a licence file gets the standard text with its author', () => {
    const text = list({ license: 'MIT' });
    expect(text).toContain('source: https://github.com/a/part; npm package @a/part@1.2.3');
    expect(text).toContain('Copyright (c) A. Maker\n\nPermission is hereby granted');
    expect(text).not.toContain('LGPL');
  });

  it('of the LGPL 3 has the text of the GPL 3 with it, to which its own refers', () => {
    writeFileSync(join(folder, 'node_modules/@a/part/COPYING'), 'the text of its file');
    const text = list({ license: 'LGPL-3.0-only' }, 'release');
    expect(text).toContain('- @a/part 1.2.3 (LGPL-3.0-only)');
    expect(text).toMatch(/the text of its file\n\nGNU GENERAL PUBLIC LICENSE\nVersion 3/);
  });
});
