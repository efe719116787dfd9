import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { build } from 'esbuild';

/** The threads as the daemon has them: each in one file, in a folder of their own. */
export interface Bundle {
  folder: string;
  remove(): void;
}

const source = (path: string) => new URL(`../../src/${path}`, import.meta.url).pathname;

/** Bundles the service's threads, and programs written for a test (name to code). */
export async function bundle(programs: Record<string, string> = {}): Promise<Bundle> {
  const folder = mkdtempSync(join(tmpdir(), 'sinew-bundle-'));
  const common = {
    outdir: folder,
    bundle: true,
    platform: 'node',
    target: 'node20',
    format: 'esm',
    banner: {
      js: "import { createRequire as requireHere } from 'node:module'; const require = requireHere(import.meta.url);",
    },
    logLevel: 'error',
  } as const;
  await build({
    ...common,
    entryPoints: {
      service: source('service/worker.ts'),
      planner: source('service/planner-worker.ts'),
    },
  });
  for (const [name, contents] of Object.entries(programs))
    await build({
      ...common,
      stdin: { contents, resolveDir: source('service'), loader: 'ts' },
      outdir: undefined as never,
      outfile: join(folder, `${name}.js`),
    });
  return { folder, remove: () => rmSync(folder, { recursive: true }) };
}
