#!/usr/bin/env node
import { readFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { makeSafe } from './boards/safe.ts';
import { stillLives } from './safe/life.ts';
import { PLAN_FILE, type SafePlan } from './safe/plan.ts';
import { systemTools } from './safe/tools.ts';

/*
 * The last defence: relays to their safe level, pulses off, without the daemon. It starts fast and
 * depends on as little as it can: no library, nothing of the daemon, not the prop file.
 */

const USAGE = `sinew-safe-levels [--plan FILE] [--force]

Drives every relay to its safe level, stops every servo's pulses and darkens every light, as the plan
says that sinewd leaves behind at its start. It may be run at any time, and again.

  --plan FILE  the plan; ${PLAN_FILE} in $RUNTIME_DIRECTORY or /run/sinew without it
  --force      also while the daemon is running
  --help

Exit code: 0 done; 1 refused, or something could not be made safe; 2 wrong usage.
`;

/** All is over this long after the start of the process (ms). */
const DEADLINE_MS = 850;
/** Even on a machine that is slow to start a program, the steps get this long (ms). */
const MIN_MS = 300;

async function main(argv: readonly string[]): Promise<number> {
  let planFile = join(process.env.RUNTIME_DIRECTORY || '/run/sinew', PLAN_FILE);
  let force = false;
  for (let at = 0; at < argv.length; at++) {
    const word = argv[at]!;
    if (word === '--help') return say(USAGE, 0);
    if (word === '--force') force = true;
    else if (word === '--plan' && argv[at + 1]) planFile = argv[++at]!;
    else return complain(`cannot understand ${word}\n\n${USAGE}`, 2);
  }

  let plan: SafePlan;
  try {
    plan = JSON.parse(readFileSync(planFile, 'utf8'));
    // What another version means by its levels nobody knows here, and a wrong level closes a relay.
    if (Number(plan.version) > 1)
      throw new Error(
        `was written by a newer Sinew (version ${Number(plan.version)} of the plan), and NOTHING was made safe; cut the power of the actuators, then install that Sinew or start this sinewd, which writes its own`,
      );
    if (plan.version !== 1 || !Array.isArray(plan.boards)) throw new Error('is not a plan');
  } catch (error) {
    const missing = (error as NodeJS.ErrnoException).code === 'ENOENT';
    const why = missing ? 'there is none; no daemon has claimed a pin' : (error as Error).message;
    return complain(`plan ${planFile}: ${why}`, 1);
  }
  if (!force && stillLives(plan.daemon))
    return complain(
      `sinewd (process ${plan.daemon.pid}) still runs and has ${plan.prop} in hand; use sinew stop, or --force`,
      1,
    );

  const deadline = AbortSignal.timeout(
    Math.max(MIN_MS, Math.round(DEADLINE_MS - performance.now())),
  );
  const simLog = join(dirname(planFile), 'safe-levels.log');
  const reports = await makeSafe(plan, systemTools(deadline, simLog));
  let failed = false;
  for (const { board, driver, done, failure } of reports) {
    const place = `${plan.prop}: ${board} (${driver})`;
    if (failure !== undefined) {
      failed = true;
      complain(`${place} may NOT be safe: ${failure}`, 1);
    } else say(`${place}: ${done.join(', ') || 'has no outputs'}\n`, 0);
  }
  if (failed && stillLives(plan.daemon))
    complain(
      `sinewd (process ${plan.daemon.pid}) still runs and may hold what could not be driven; end it (kill -9 ${plan.daemon.pid}), then run this again`,
      1,
    );
  return failed ? 1 : 0;
}

function say(text: string, code: number): number {
  process.stdout.write(text);
  return code;
}

function complain(text: string, code: number): number {
  process.stderr.write(`sinew-safe-levels: ${text}\n`);
  return code;
}

// At once: a program that hangs is not waited for.
void main(process.argv.slice(2)).then((code) => process.exit(code));
