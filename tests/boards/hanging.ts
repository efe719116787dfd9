import { execFileSync, spawn } from 'node:child_process';
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { build } from 'esbuild';

const root = fileURLToPath(new URL('../..', import.meta.url));

/** The drivers' thread and a program of the tests, built as build.mjs builds them. */
export class Built {
  readonly folder: string;

  private constructor(folder: string) {
    this.folder = folder;
  }

  /** @param program a TypeScript file, which becomes program.js beside board-worker.js */
  static async make(program?: string): Promise<Built> {
    // Within node_modules, from where koffi is found.
    mkdirSync(join(root, 'node_modules/.cache'), { recursive: true });
    const folder = mkdtempSync(join(root, 'node_modules/.cache/sinew-threads-'));
    await build({
      entryPoints: {
        'board-worker': join(root, 'src/boards/board-worker.ts'),
        ...(program !== undefined && { program: join(root, program) }),
      },
      outdir: folder,
      bundle: true,
      platform: 'node',
      target: 'node20',
      format: 'esm',
      external: ['pigpio', 'koffi'],
      banner: {
        js: "import { createRequire as requireHere } from 'node:module'; const require = requireHere(import.meta.url);",
      },
      logLevel: 'warning',
    });
    writeFileSync(join(folder, 'package.json'), '{"type":"module"}');
    return new Built(folder);
  }

  /** The drivers' thread, as a driver gets it. */
  get thread(): URL {
    return pathToFileURL(join(this.folder, 'board-worker.js'));
  }

  cleanUp(): void {
    rmSync(this.folder, { recursive: true, force: true });
  }
}

/** What a scene of hang-exercise.ts told, and how it ended. */
export interface Played<Report> {
  report: Report;
  code: number | null;
  signal: NodeJS.Signals | null;
  /** From what was told last to the end (ms). */
  endedMs: number;
  err: string;
}

/** Plays a scene in a process on whose boards hanging-bus.c is preloaded. */
export async function play<Report>(
  built: Built,
  scene: readonly string[],
  env: NodeJS.ProcessEnv = {},
): Promise<Played<Report>> {
  const folder = mkdtempSync(join(tmpdir(), 'sinew-hang-'));
  const [bus, chip] = ['hanging-bus', 'gpio-chip'].map((name) => {
    const library = join(folder, `${name}.so`);
    const source = join(root, `tests/native/${name}.c`);
    const options = ['-O1', '-Wall', '-Werror', '-shared', '-fPIC', '-ldl', '-lpthread'];
    execFileSync('gcc', [...options, '-o', library, source]);
    return library;
  });
  try {
    const child = spawn(process.execPath, [join(built.folder, 'program.js'), ...scene], {
      env: {
        ...process.env,
        LD_PRELOAD: bus,
        HANG_CHIP: chip,
        HANG_FOLDER: folder,
        HANG_BUS: join(folder, 'record'),
        HANG_WHILE: join(folder, 'hang'),
        ...env,
      },
      stdio: ['ignore', 'pipe', 'pipe'],
    });
    let out = '';
    let err = '';
    let reportedMs = 0;
    child.stdout.on('data', (data) => {
      out += data;
      reportedMs = performance.now();
    });
    child.stderr.on('data', (data) => {
      err += data;
    });
    const [code, signal] = await new Promise<[number | null, NodeJS.Signals | null]>((resolve) =>
      child.once('exit', (...how) => resolve(how)),
    );
    const report = Object.assign(
      {},
      ...out
        .trim()
        .split('\n')
        .filter(Boolean)
        .map((l) => JSON.parse(l)),
    );
    return { report, code, signal, endedMs: performance.now() - reportedMs, err };
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}
