import type { ExecFileException } from 'node:child_process';

/** How the ways to safe levels act on the machine. */
export interface Tools {
  /**
   * Runs a program of the system and returns what it printed.
   * @throws Error with a line that says what went wrong; `MissingProgram` when it is not installed
   */
  run(program: string, ...args: string[]): Promise<string>;
  /** Where sysfs is mounted. */
  sysfs: string;
  /** A file that records what would be done to simulated boards. */
  log: string;
}

/** A program that this machine does not have. */
export class MissingProgram extends Error {}

/** Programs of the system; `deadline` ends them. */
export function systemTools(deadline: AbortSignal, log: string): Tools {
  return {
    sysfs: '/sys',
    log,
    async run(program, ...args) {
      const { execFile } = await import('node:child_process');
      // i2cset is in a folder that is not on every user's PATH.
      const env = {
        ...process.env,
        PATH: `${process.env.PATH ?? ''}:/usr/sbin:/usr/bin:/sbin:/bin`,
      };
      return new Promise((resolve, reject) => {
        const options = { env, signal: deadline, killSignal: 'SIGKILL' } as const;
        execFile(program, args, options, (error, stdout, stderr) => {
          if (error) reject(explained(error, program, stderr));
          else resolve(stdout);
        });
      });
    },
  };
}

function explained(error: ExecFileException, program: string, stderr: string): Error {
  if (error.code === 'ENOENT') return new MissingProgram(`${program} is not installed`);
  if (error.name === 'AbortError') return new Error(`${program} did not end in time`);
  return new Error(`${program}: ${stderr.trim().split('\n')[0] || error.message}`);
}
