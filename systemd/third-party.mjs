// The software of others in a release, with its licences: THIRD-PARTY.txt. A package whose licence is not
// found stops the making of a release. Run by package.sh, after build.mjs has written dist/metafile.json.
import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';

/** Emscripten puts a part of its C library into all WebAssembly that it makes. */
const MUSL = {
  name: 'musl, the C library of Emscripten',
  license: 'MIT',
  source: 'https://musl.libc.org, https://github.com/emscripten-core/emscripten',
  holder: '2005-2020 Rich Felker, et al.',
};

/**
 * What packages contain as WebAssembly and do not list in their package.json. Names: the words in the
 * modules (FLAC__, OV_, MPG123_) and the packages' README files. Licences and holders: the files
 * "copyright" of Debian's packages of these libraries.
 */
const INSIDE = {
  '@wasm-audio-decoders/common': [
    {
      name: 'puff',
      license: 'Zlib',
      source: 'https://github.com/madler/zlib (contrib/puff); the package has it as src/puff',
      holder: '2002-2013 Mark Adler',
    },
  ],
  '@wasm-audio-decoders/flac': [
    {
      name: 'libFLAC',
      license: 'BSD-3-Clause',
      source: 'https://github.com/xiph/flac',
      holder: '2000-2009 Josh Coalson, 2011-2022 Xiph.Org Foundation',
    },
    MUSL,
  ],
  '@wasm-audio-decoders/ogg-vorbis': [
    {
      name: 'libvorbis',
      license: 'BSD-3-Clause',
      source: 'https://github.com/xiph/vorbis',
      holder: '2002-2020 Xiph.Org Foundation',
    },
    {
      name: 'libogg',
      license: 'BSD-3-Clause',
      source: 'https://github.com/xiph/ogg',
      holder: '1994-2020 Xiph.Org Foundation',
    },
    MUSL,
  ],
  'mpg123-decoder': [
    {
      name: 'libmpg123',
      license: 'LGPL-2.1-only',
      source: 'https://www.mpg123.de',
      holder: '1995-2021 the mpg123 project',
    },
    MUSL,
  ],
};

const RULE = '-'.repeat(80);

/**
 * The folders of the packages whose code is in bundles, from the project's folder.
 * @param metafiles what esbuild read for each build (https://esbuild.github.io/api/#metafile)
 */
function bundled(metafiles) {
  const inputs = metafiles.flatMap((metafile) => Object.keys(metafile.inputs));
  return inputs.flatMap((input) => /[^:]*node_modules\/(?:@[^/]+\/)?[^/]+/.exec(input)?.[0] ?? []);
}

/** The folders of the packages in a node_modules and in those below it. */
function installed(modules) {
  const files = existsSync(modules) ? readdirSync(modules, { recursive: true }) : [];
  return files
    .filter((file) => /^(?:.+\/node_modules\/)?(?:@[^/]+\/)?[^/@]+\/package\.json$/.test(file))
    .map((file) => join(modules, file, '..'));
}

/** The standard text of an SPDX id, with the holder of the copyright; undefined where there is none. */
function standardText(license, holder) {
  if (!/^[\w.+-]+$/.test(license)) return undefined;
  const list = fileURLToPath(import.meta.resolve('spdx-license-list/licenses/MIT.json'));
  const file = join(list, '..', `${license}.json`);
  if (!existsSync(file)) return undefined;
  const text = JSON.parse(readFileSync(file, 'utf8')).licenseText.trim();
  if (holder === undefined) return text;
  // The GNU licences end with advice for authors, with places to fill in that are no part of ours.
  if (/GPL/.test(license)) return `Copyright (c) ${holder}\n\n${text}`;
  const filled = text.replace(/<year>,? <[^>]+>/, holder);
  return filled === text ? `Copyright (c) ${holder}\n\n${text}` : filled;
}

/** The person or the address in a field of package.json, which may be text or an object. */
const word = (field, key) => (typeof field === 'string' ? field : field?.[key]);

/** Where the source of a package is: npm's short forms of an address in full. */
function sourceOf({ repository, homepage, name }) {
  const source = word(repository, 'url') ?? homepage;
  if (source === undefined) return `https://www.npmjs.com/package/${name}`;
  return source
    .replace(/^git\+/, '')
    .replace(/^(?:github:)?([\w.-]+\/[\w.-]+)$/, 'https://github.com/$1');
}

/** What a package says of itself, with its licence. */
function read(folder) {
  const about = JSON.parse(readFileSync(join(folder, 'package.json'), 'utf8'));
  const { name, version, license } = about;
  if (typeof license !== 'string' || license === '')
    throw new Error(`package ${name} ${version} names no licence in its package.json`);
  const texts = readdirSync(folder)
    .filter((file) => /^(?:licen[cs]e|copying|notice)(?:[.-]|$)/i.test(file))
    .toSorted()
    .map((file) => readFileSync(join(folder, file), 'utf8').trim())
    .filter((text) => text !== '');
  if (texts.length === 0) {
    const standard = standardText(license, word(about.author, 'name') ?? `the authors of ${name}`);
    if (standard === undefined)
      throw new Error(
        `package ${name} ${version} has no licence file, and "${license}" is not an SPDX id of which the text is known`,
      );
    texts.push(`The package has no licence file. The standard text of ${license}:`, standard);
  } else if (license.startsWith('LGPL-3.0'))
    // The LGPL 3 is an addition to the GPL 3, and refers to its text.
    texts.push(standardText('GPL-3.0-only'));
  return { name, version, license, source: sourceOf(about), texts };
}

const part = (title, license, source, text) =>
  `${RULE}\n${title}\nlicence: ${license}\nsource: ${source}\n\n${text}\n`;

/** A package, and what it contains, each as a part of the file. */
function parts({ name, version, license, source, texts }) {
  const npm = `${source}; npm package ${name}@${version}`;
  const inside = (INSIDE[name] ?? []).map((it) =>
    part(
      `${it.name} (in ${name} ${version}, as WebAssembly)`,
      it.license,
      `${it.source}; how it is built: ${source}`,
      standardText(it.license, it.holder),
    ),
  );
  return [part(`${name} ${version}`, license, npm, texts.join('\n\n')), ...inside];
}

/** The parts under the LGPL, and how to use others in their place. */
function replaceable(packages) {
  const lines = packages.flatMap(({ name, version, license }) => [
    ...(/LGPL/.test(license) ? [`- ${name} ${version} (${license})`] : []),
    ...(INSIDE[name] ?? [])
      .filter((it) => /LGPL/.test(it.license))
      .map((it) => `- ${it.name} in ${name} ${version} (${it.license})`),
  ]);
  if (lines.length === 0) return '';
  return `
Parts under the LGPL:
${lines.join('\n')}
They are in the programs as npm has them, and their source is at the addresses below. To use a changed or
another version of one, build the release again with it, from Sinew's source:

1. Change the source of the package; keep its name and its version number. (libmpg123 is built into its
   package from the package's own source.) There, "npm pack" makes a .tgz file.
2. In Sinew's source, run "npm install FILE.tgz", then "npm run package".
3. Install the new release as the README says.

What these licences ask of whoever hands a release on is in their texts. This note is not legal advice, and
the licences take precedence over it: ask a lawyer where it matters to you.
`;
}

/**
 * The file about the software of others in a release.
 * @param metafiles of the builds in dist
 * @param root the project's folder, from which the metafiles name files
 * @param modules the release's own node_modules
 * @throws Error with the name of a package whose licence is not found
 */
export function thirdParty(metafiles, root, modules) {
  const folders = [
    ...bundled(metafiles).map((folder) => join(root, folder)),
    ...installed(modules),
  ];
  const packages = new Map();
  for (const folder of new Set(folders)) {
    const found = read(folder);
    packages.set(`${found.name} ${found.version}`, found);
  }
  const sorted = [...packages.keys()].toSorted().map((key) => packages.get(key));
  return `This release of Sinew contains software of others: in its programs and its page (dist), and in
node_modules. Each is listed with its licence. Its source is at the address given, and
"npm pack NAME@VERSION" downloads the package that was used. The licence of Node is beside it, in runtime.
${replaceable(sorted)}
${sorted.flatMap(parts).join('\n')}`;
}

if (process.argv[1] === fileURLToPath(import.meta.url)) {
  const root = fileURLToPath(new URL('..', import.meta.url));
  try {
    const metafiles = JSON.parse(readFileSync(join(root, 'dist/metafile.json'), 'utf8'));
    process.stdout.write(thirdParty(metafiles, root, process.argv[2]));
  } catch (error) {
    process.stderr.write(`package.sh: THIRD-PARTY.txt: ${error.message}\n`);
    process.exitCode = 1;
  }
}
