// Builds dist/: each program and thread in one file, so that it starts without looking for hundreds of
// modules, and beside it the code that V8 makes of it (src/startup/with-cache.ts).
import { chmod, cp, mkdir, rm, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { build } from 'esbuild';
import { makeCache } from './systemd/make-cache.mjs';

const root = fileURLToPath(new URL('.', import.meta.url));
const page = join(root, 'src/gateway/page');

/** The threads of the daemon: name of the file in dist, and its source. */
export const THREADS = {
  worker: 'gateway/worker.ts',
  service: 'service/worker.ts',
  planner: 'service/planner-worker.ts',
  'board-worker': 'boards/board-worker.ts',
  'sound-worker': 'boards/alsa/sound-worker.ts',
  'show-worker': 'show/worker.ts',
  'show-page-worker': 'showpage/worker.ts',
};

/** Components are Preact's, on the page and where the command draws with them. */
const JSX = { jsx: 'automatic', jsxImportSource: 'preact' };

const HERE = 'const hereUrl = require("node:url").pathToFileURL(__filename).href;';
/** Before and after what src/startup/with-cache.ts runs, as Node has it around a module. */
export const MODULE = ['(function(exports,require,module,__filename,__dirname){', '})'];

/** Parts of Node that packages load at their start and seldom use: they are loaded when one is first used. */
const SELDOM = ['http2', 'https', 'tls', 'zlib'];
const seldomLoaded = {
  name: 'seldom-loaded',
  setup({ onResolve, onLoad }) {
    const names = new RegExp(`^(node:)?(${SELDOM.join('|')})$`);
    onResolve({ filter: names }, ({ path, importer, kind }) =>
      kind === 'require-call' && importer.includes('/node_modules/')
        ? { path: path.replace('node:', ''), namespace: 'seldom-loaded' }
        : undefined,
    );
    onLoad({ filter: /./, namespace: 'seldom-loaded' }, ({ path }) => ({
      contents: `const { createRequire } = require('node:module');
        const real = () => createRequire(__filename)('node:${path}');
        module.exports = new Proxy({}, {
          get: (_, name) => real()[name],
          has: (_, name) => name in real(),
          ownKeys: () => Reflect.ownKeys(real()),
          getOwnPropertyDescriptor(_, name) {
            const found = Reflect.getOwnPropertyDescriptor(real(), name);
            return found && { ...found, configurable: true };
          },
        });`,
    }));
  },
};

const BUNDLE = {
  ...JSX,
  bundle: true,
  platform: 'node',
  target: 'node20',
  format: 'cjs',
  minifySyntax: true,
  minifyWhitespace: true,
  // The YAML parser's build without debugging aids: the other one asks for an environment variable
  // with every word of the text.
  alias: { yaml: join(root, 'node_modules/yaml/browser/index.js') },
  external: [
    // Native modules, and there only where the board has what they need.
    ...['pigpio', 'koffi'],
    // What fastify would load for routes with schemas and for tests of its own; src/gateway/server.ts.
    ...['@fastify/ajv-compiler', '@fastify/fast-json-stringify-compiler', 'light-my-request'],
  ],
  plugins: [seldomLoaded],
  supported: { 'dynamic-import': false },
  define: { 'import.meta.url': 'hereUrl' },
  banner: { js: HERE },
  logLevel: 'warning',
  metafile: true,
};

/** For browsers. */
const PAGE = {
  ...JSX,
  bundle: true,
  minify: true,
  target: 'es2022',
  format: 'esm',
  logLevel: 'warning',
  metafile: true,
};

/**
 * Bundles programs and threads into a folder.
 * @param entries name of the file without its ending, and its source
 * @returns what esbuild read for them
 */
export async function bundle(entries, outdir) {
  const names = Object.keys(entries);
  await mkdir(outdir, { recursive: true });
  await writeFile(join(outdir, 'package.json'), '{ "type": "commonjs" }\n');
  const programs = await build({
    ...BUNDLE,
    banner: { js: MODULE[0] + HERE },
    footer: { js: MODULE[1] },
    entryPoints: Object.fromEntries(names.map((name) => [`${name}.code`, entries[name]])),
    outdir,
  });
  const loader = await build({
    ...BUNDLE,
    banner: {},
    entryPoints: { 'with-cache': join(root, 'src/startup/with-cache.ts') },
    outdir,
  });
  for (const name of names)
    await writeFile(
      join(outdir, `${name}.js`),
      '#!/usr/bin/env node\nrequire("./with-cache.js").runCached(__filename);\n',
      { mode: 0o755 },
    );
  return [programs.metafile, loader.metafile];
}

async function main() {
  const dist = join(root, 'dist');
  const source = (file) => join(root, 'src', file);
  await rm(dist, { recursive: true, force: true });
  const metafiles = await bundle(
    {
      daemon: source('daemon.ts'),
      cli: source('cli.ts'),
      ...Object.fromEntries(Object.entries(THREADS).map(([name, file]) => [name, source(file)])),
    },
    dist,
  );
  // The last defence depends on nothing, a cache included.
  const last = await build({
    ...BUNDLE,
    entryPoints: { 'safe-levels': source('safe-levels.ts') },
    outdir: dist,
  });
  await chmod(join(dist, 'safe-levels.js'), 0o755);
  await mkdir(join(dist, 'page'));
  const views = await build({
    ...PAGE,
    // A view that most visits do without is fetched when it is first asked for (page/cues-view.tsx).
    entryPoints: [join(page, 'app.tsx'), join(page, 'cues.tsx')],
    outdir: join(dist, 'page'),
    splitting: true,
    chunkNames: 'part-[hash]',
  });
  // Served by `sinew show serve`, and at /show/ by the daemon of a prop that takes part in a show.
  const conducted = await build({
    ...PAGE,
    entryPoints: [join(page, 'conduct.tsx')],
    outdir: join(dist, 'show-page'),
  });
  await cp(join(page, 'conduct.html'), join(dist, 'show-page/index.html'));
  await cp(join(page, 'icon.svg'), join(dist, 'show-page/icon.svg'));
  // Which packages are in the bundles, for their licences (systemd/third-party.mjs).
  metafiles.push(last.metafile, views.metafile, conducted.metafile);
  await writeFile(join(dist, 'metafile.json'), JSON.stringify(metafiles));
  for (const name of ['index.html', 'icon.svg'])
    await cp(join(page, name), join(dist, 'page', name));
  await cp(join(root, 'config/prop.schema.json'), join(dist, 'page/prop.schema.json'));
  await cp(join(root, 'systemd/make-cache.mjs'), join(dist, 'make-cache.mjs'));
  if (!(await makeCache(dist, join(root, 'config/owl.yaml'))))
    process.stderr.write('build: the code caches are not whole; programs start slower\n');
}

if (process.argv[1] === fileURLToPath(import.meta.url)) await main();
