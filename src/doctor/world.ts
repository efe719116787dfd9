import { execFile } from 'node:child_process';
import { access, readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { loadPigpio } from '../drivers/pigpio.ts';
import { pwmPins } from '../drivers/pin-function.ts';

/** The machine that is looked at; tests bring their own. */
export interface World {
  /** Version of Node without the v. */
  nodeVersion: string;
  exists(path: string): Promise<boolean>;
  /** The text of a file; undefined when it cannot be read. */
  read(path: string): Promise<string | undefined>;
  /** What a program prints; `missing` when it is not installed. @throws Error when it fails */
  run(program: string, ...args: string[]): Promise<string | typeof MISSING>;
  /** Why an npm package cannot be loaded; undefined when it can. */
  cannotLoad(name: string): Promise<string | undefined>;
  /** The pins that a PWM chip comes out at; undefined where nobody can tell. */
  pwmPins(chip: string): Promise<ReadonlySet<number> | undefined>;
}

export const MISSING = Symbol('not installed');

const RUN_MS = 5000;

/** This machine. `root` is the folder below which its files are looked for, `/` in earnest. */
export function thisMachine(root = '/'): World {
  return {
    nodeVersion: process.versions.node,
    exists: (path) =>
      access(join(root, path)).then(
        () => true,
        () => false,
      ),
    read: (path) => readFile(join(root, path), 'utf8').catch(() => undefined),
    run(program, ...args) {
      const env = {
        ...process.env,
        LC_ALL: 'C',
        PATH: `${process.env.PATH ?? ''}:/usr/sbin:/sbin`,
      };
      return new Promise((resolve, reject) => {
        execFile(program, args, { env, timeout: RUN_MS }, (error, stdout, stderr) => {
          if (!error) resolve(stdout);
          else if (error.code === 'ENOENT') resolve(MISSING);
          else reject(new Error(stderr.trim().split('\n')[0] || error.message));
        });
      });
    },
    pwmPins: (chip) => pwmPins(join(root, chip)),
    async cannotLoad(name) {
      try {
        // It loads without its native part, too; its driver knows how to tell.
        if (name === 'pigpio') loadPigpio();
        else await import(name);
        return undefined;
      } catch (error) {
        return (error as Error).message.split('\n')[0]!;
      }
    },
  };
}
