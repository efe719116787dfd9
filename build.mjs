// Builds dist/: each program in one file, so that it starts without looking for hundreds of modules.
import { chmod, cp, mkdir, rm } from 'node:fs/promises';
import { build } from 'esbuild';

const PROGRAMS = { daemon: 'daemon.ts', cli: 'cli.ts', 'safe-levels': 'safe-levels.ts' };
const THREADS = {
  worker: 'gateway/worker.ts',
  service: 'service/worker.ts',
  planner: 'service/planner-worker.ts',
};
const page = 'src/gateway/page';

await rm('dist', { recursive: true, force: true });
await mkdir('dist/page', { recursive: true });
await build({
  entryPoints: Object.fromEntries(
    Object.entries({ ...PROGRAMS, ...THREADS }).map(([name, file]) => [name, `src/${file}`]),
  ),
  outdir: 'dist',
  bundle: true,
  platform: 'node',
  target: 'node20',
  format: 'esm',
  minifySyntax: true,
  minifyWhitespace: true,
  // The YAML parser's build without debugging aids: the other one asks for an environment variable
  // with every word of the text.
  alias: { yaml: './node_modules/yaml/browser/index.js' },
  // Native modules, and there only where the board has what they need.
  external: ['pigpio', 'i2c-bus', 'koffi'],
  // For the packages inside that are CommonJS.
  banner: {
    js: "import { createRequire as requireHere } from 'node:module'; const require = requireHere(import.meta.url);",
  },
  logLevel: 'warning',
});
for (const name of Object.keys(PROGRAMS)) await chmod(`dist/${name}.js`, 0o755);
await build({
  entryPoints: [`${page}/app.tsx`],
  outfile: 'dist/page/app.js',
  bundle: true,
  minify: true,
  target: 'es2022',
  format: 'esm',
  jsx: 'automatic',
  jsxImportSource: 'preact',
  logLevel: 'warning',
});
for (const name of ['index.html', 'icon.svg']) await cp(`${page}/${name}`, `dist/page/${name}`);
