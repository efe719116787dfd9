import { execFile } from 'node:child_process';
import { access, readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { MISSING, type World } from '../boards/doctor.ts';
import { pwmPins } from '../boards/linux/pin-function.ts';

const RUN_MS = 5000;

/** This machine. Its files are searched below the folder `root`; tests use another one. */
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
    async cannotLoad(name, load = () => import(name)) {
      try {
        await load();
        return undefined;
      } catch (error) {
        return (error as Error).message.split('\n')[0]!;
      }
    },
  };
}
