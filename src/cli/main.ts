import { readFileSync } from 'node:fs';
import { hostname } from 'node:os';
import { LinkLost } from './client.ts';
import { LinkedOperator } from './operator.ts';
import { EXIT, errorObject, errorText, exitCode, print, UsageError } from './output.ts';
import { type Chosen, type Globals, lineParser } from './program.ts';
import { runVerb, sessionVerb } from './session.ts';
import { VERBS } from './table.ts';
import { address } from './values.ts';
import type { Io, Verb } from './verb.ts';

const LINE_VERBS = [sessionVerb, runVerb, ...VERBS.map(onLine)];
const DEFAULT_GRACE_S = 30;

/** The whole command: parses `argv` (without the program's name), does it, returns the exit code. */
export async function main(argv: readonly string[], io: Io, version: string): Promise<number> {
  const json = argv.includes('--json');
  try {
    const chosen = lineParser(LINE_VERBS, version, (text) => io.stdout.write(text)).parse(argv);
    return chosen ? await perform(chosen, io, version) : EXIT.done;
  } catch (error) {
    return complain(io, json, error);
  }
}

/** Prints an error; returns the exit code for it. */
function complain(io: Io, json: boolean, error: unknown): number {
  if (json) print(io.stderr, JSON.stringify({ error: errorObject(error) }));
  else print(io.stderr, `sinew: ${errorText(error)}`);
  if (io.env.SINEW_DEBUG && error instanceof Error) print(io.stderr, error.stack ?? '');
  return exitCode(error);
}

async function perform(
  { verb, inputs, globals }: Chosen,
  io: Io,
  program: string,
): Promise<number> {
  const json = globals.json === true;
  const graceS = globals.grace ?? DEFAULT_GRACE_S;
  const operator = new LinkedOperator(io, {
    address: globals.host ?? addressFrom(io.env.SINEW_HOST ?? '127.0.0.1:7420'),
    token: token(globals, io.env),
    name: globals.name ?? defaultName(io.env),
    json,
    wake: globals.wake === true,
    confirmUnknown: globals.confirmUnknown === true,
    graceS: globals.grace,
    program,
  });
  try {
    const outcome = await (verb.independent
      ? verb.run(inputs, operator)
      : operator.run(verb, inputs));
    const handedOver = await operator.handOver(graceS);
    if (json && outcome.result !== undefined) {
      const note = handedOver === undefined ? {} : { handedOver: { graceS } };
      print(io.stdout, JSON.stringify({ ...(outcome.result as object), ...note }));
    } else if (!json) {
      for (const line of [outcome.text, handedOver]) if (line) print(io.stdout, line);
    }
    return outcome.exit ?? EXIT.done;
  } catch (error) {
    if (error instanceof LinkLost) {
      const then = operator.leased ? '; the prop parks itself' : '';
      const fate = operator.writeOutcome === undefined ? '' : `; ${operator.writeOutcome}`;
      throw new LinkLost(`link lost: ${error.message}${then}${fate}`);
    }
    const code = complain(io, json, error);
    // A session that fails, as when its terminal is closed, leaves nobody there: the prop parks.
    const lastsS = operator.inSession ? 0 : graceS;
    // The refusal is what matters; that the lease could not be handed over either does not.
    const handedOver = await operator.handOver(lastsS).catch(() => undefined);
    if (handedOver && !json) print(io.stderr, handedOver);
    return code;
  } finally {
    await operator.close();
  }
}

/** What takes effect only while somebody keeps the lease says so on the command line. */
function onLine(verb: Verb): Verb {
  if (verb.where !== 'prompt') return verb;
  const { name } = verb;
  return {
    ...verb,
    hidden: true,
    run: async () => {
      throw new UsageError(
        `${name} lasts while you keep the lease: use it in sinew session, or in a script for sinew run`,
      );
    },
  };
}

function addressFrom(text: string) {
  try {
    return address(text);
  } catch {
    throw new UsageError(`SINEW_HOST is ${text}; give HOST or HOST:PORT`);
  }
}

function token(globals: Globals, env: Io['env']): string | undefined {
  const file = globals.tokenFile ?? env.SINEW_TOKEN_FILE;
  if (!file) return undefined;
  try {
    return readFileSync(file, 'utf8').trim();
  } catch (error) {
    throw new UsageError(`cannot read the token file: ${(error as Error).message}`);
  }
}

function defaultName(env: Io['env']): string {
  return `${env.USER ?? env.LOGNAME ?? env.USERNAME ?? 'someone'}@${hostname()}`.slice(0, 64);
}
