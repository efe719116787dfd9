import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { existsSync } from 'node:fs';
import {
  chmod,
  copyFile,
  cp,
  mkdir,
  mkdtemp,
  readFile,
  rename,
  rm,
  writeFile,
} from 'node:fs/promises';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { needTools } from '../tools.ts';

const here = fileURLToPath(new URL('.', import.meta.url));
const packages = fileURLToPath(new URL('../../node_modules', import.meta.url));
const PACKAGES = ['pigpio', 'bindings', 'file-uri-to-path', 'nan'];
const TOOLS = ['gcc', 'g++', 'make', 'python3', 'npm'];

/** To be preloaded (`--require`) into a process that shall use the stand-in. */
export const PRELOAD = join(here, 'use-stand-in.cjs');

/** A board that the library knows: revision code of a BCM2711 (from memory). */
export const KNOWN_BOARD = 'b03115';

/** One line of what the stand-in wrote down; see recorder.c. Marks are the test's own. */
export interface Line {
  ns?: number;
  call?: string;
  args?: number[];
  rc?: number;
  violation?: string;
  pin?: number;
  drives?: string;
  signal?: number;
  mark?: string;
}

/** A place where one process's calls are written down, and levels of its inputs come from. */
export class Bench {
  readonly folder: string;
  /** The environment of the process. */
  readonly env: Record<string, string>;

  private constructor(folder: string, env: Record<string, string>) {
    this.folder = folder;
    this.env = env;
  }

  static async make(): Promise<Bench> {
    const built = await build();
    const folder = await mkdtemp(join(tmpdir(), 'sinew-pigpio-bench-'));
    const bench = new Bench(folder, {
      PIGPIO_PACKAGE: join(built, 'node_modules/pigpio/pigpio.js'),
      PIGPIO_RECORD: join(folder, 'record'),
      PIGPIO_LEVELS: join(folder, 'levels'),
      PIGPIO_REVISION: KNOWN_BOARD,
      LD_LIBRARY_PATH: join(built, 'lib'),
    });
    await bench.wire({});
    return bench;
  }

  /** What is wired to the inputs, by GPIO: see PIGPIO_LEVELS in recorder.c. */
  async wire(levels: Record<number, '0' | '1' | 'v'>): Promise<void> {
    const text = Array.from({ length: 32 }, (_, gpio) => levels[gpio] ?? '-').join('');
    await writeFile(this.env.PIGPIO_LEVELS!, text);
  }

  async lines(): Promise<Line[]> {
    const text = await readFile(this.env.PIGPIO_RECORD!, 'utf8');
    return text
      .trim()
      .split('\n')
      .map((line) => JSON.parse(line));
  }

  cleanUp(): Promise<void> {
    return rm(this.folder, { recursive: true, force: true });
  }
}

/** `gpioServo 18 1500`: a call as a test writes it. Reads and marks are left out. */
export function calls(lines: readonly Line[]): string[] {
  return lines.flatMap(({ call, args }) =>
    call && call !== 'gpioRead' ? [[call, ...args!].join(' ')] : [],
  );
}

/** What one pin does, change by change. */
export function drives(lines: readonly Line[], pin: number): string[] {
  return lines.flatMap((line) => (line.pin === pin ? [line.drives!] : []));
}

/**
 * Builds the npm package as its users do, with `npm rebuild`, against our own library: the package's
 * build looks for a program `pigpiod`, for pigpio.h and for libpigpio, and finds ours. Nothing of the
 * package is changed. Built once for each state of the sources.
 * @returns the folder that holds lib/ and node_modules/
 */
async function build(): Promise<string> {
  const headers = nodeHeaders();
  const hash = createHash('sha256').update(`${process.version} ${process.arch}`);
  for (const file of [
    ...['pigpio.h', 'recorder.c', 'stand-in.ts'].map((name) => join(here, name)),
    ...['package.json', 'binding.gyp', 'src/pigpio.cc', 'pigpio.js'].map((name) =>
      join(packages, 'pigpio', name),
    ),
    join(packages, 'nan/package.json'),
  ])
    hash.update(await readFile(file));
  const built = join(tmpdir(), `sinew-pigpio-${hash.digest('hex').slice(0, 16)}`);
  if (existsSync(built)) return built;
  needTools('the build of pigpio', TOOLS, missingTools);

  const folder = await mkdtemp(join(tmpdir(), 'sinew-pigpio-build-'));
  const [bin, include, lib] = ['bin', 'include', 'lib'].map((name) => join(folder, name));
  for (const made of [bin!, include!, lib!]) await mkdir(made);
  await copyFile(join(here, 'pigpio.h'), join(include!, 'pigpio.h'));
  run('gcc', [
    ...['-Wall', '-Wextra', '-Wno-unused-parameter', '-Werror', '-O1', '-shared', '-fPIC'],
    ...['-Wl,-soname,libpigpio.so.1', '-o', join(lib!, 'libpigpio.so.1')],
    join(here, 'recorder.c'),
  ]);
  await copyFile(join(lib!, 'libpigpio.so.1'), join(lib!, 'libpigpio.so'));
  // The package's build asks for this program only to know whether the C library is there.
  await writeFile(join(bin!, 'pigpiod'), '#!/bin/sh\nexit 1\n');
  await chmod(join(bin!, 'pigpiod'), 0o755);
  for (const name of PACKAGES)
    await cp(join(packages, name), join(folder, 'node_modules', name), {
      recursive: true,
      filter: (from) => from !== join(packages, 'pigpio/build'),
    });
  const { version } = createRequire(import.meta.url)('pigpio/package.json');
  await writeFile(
    join(folder, 'package.json'),
    JSON.stringify({ dependencies: { pigpio: version }, allowScripts: { pigpio: true } }),
  );
  run('npm', ['rebuild', 'pigpio', '--foreground-scripts'], {
    cwd: folder,
    PATH: `${bin}:${process.env.PATH}`,
    CPATH: include!,
    LIBRARY_PATH: lib!,
    ...(headers && { npm_config_nodedir: headers }),
  });
  if (!existsSync(join(folder, 'node_modules/pigpio/build/Release/pigpio.node')))
    throw new Error(`npm rebuild pigpio made no pigpio.node in ${folder}`);
  // Whole or not at all; another test may have been quicker.
  await rename(folder, built).catch(async (error: NodeJS.ErrnoException) => {
    await rm(folder, { recursive: true, force: true });
    if (!existsSync(built)) throw error;
  });
  return built;
}

/** Where this Node's own headers are, so that none are fetched; undefined when they are not here. */
function nodeHeaders(): string | undefined {
  const root = dirname(dirname(process.execPath));
  return existsSync(join(root, 'include/node/node.h')) ? root : undefined;
}

function run(
  command: string,
  args: string[],
  { cwd, ...env }: { cwd?: string; [name: string]: string | undefined } = {},
): void {
  const { status, error, stdout, stderr } = spawnSync(command, args, {
    encoding: 'utf8',
    ...(cwd && { cwd }),
    env: { ...process.env, ...env },
  });
  if (status !== 0)
    throw new Error(`${command} ${args.join(' ')}: ${error?.message ?? ''}\n${stdout}${stderr}`);
}

function missingTools(): string[] {
  return TOOLS.filter((tool) => spawnSync(tool, ['--version']).error);
}
